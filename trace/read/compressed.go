package read

import (
	"io"
)

func (t *task) gzip(name string, m *meter) ([]*part, *Faults) {
	return nil, refuse(Fault{File: name, Found: "gzip"}, problems{})
}

func (t *task) zip(name string, at io.ReaderAt, size int64) ([]*part, *Faults) {
	return nil, refuse(Fault{File: name, Found: "zip"}, problems{})
}
