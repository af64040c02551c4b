package lines

// Holds is how many bytes there is room for of a running line.
func (d *Decoder) Holds() int { return cap(d.split.held) }
