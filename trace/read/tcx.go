package read

import "io"

func (t *task) tcx(name string, r io.Reader) (*part, *Faults) {
	return nil, refuse(Fault{File: name, Found: "TCX"}, problems{})
}
