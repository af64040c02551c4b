package address

// Identity names the device itself, by whatever of its address outlasts a
// session: the USB identity, port or host, and what of the address changes the
// lengths that it is read as. Speeds, formats and delays are not in it.
//
// What is known of an indicator's own zero and stops is kept under it.
func (a Address) Identity() string {
	return Address{Kind: a.Kind, Port: a.Port, Host: a.Host, USB: a.USB,
		Unit: a.Unit, Scale: a.Scale, Invert: a.Invert}.String()
}
