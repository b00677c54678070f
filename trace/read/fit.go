package read

func (t *task) fit(name string, m *meter) (*part, *Faults) {
	return nil, refuse(Fault{File: name, Found: "FIT"}, problems{})
}
