package dial

import (
	"context"

	"lobescribe/device/address"
	"lobescribe/device/port"
	"lobescribe/device/rfc2217"
)

// dialRFC2217 opens a port of a bridge and sets it as the address says.
func dialRFC2217(ctx context.Context, a address.Address) (port.Link, error) {
	raw, err := dialTCP(ctx, a.Host)
	if err != nil {
		return nil, err
	}
	line := a.Line()
	levels := map[address.Level]rfc2217.Level{address.AsIs: rfc2217.AsIs, address.On: rfc2217.On, address.Off: rfc2217.Off}
	link, err := rfc2217.Open(ctx, raw.(*tcpLink).Conn, rfc2217.Settings{
		Baud: line.Baud, Bits: line.Bits, Parity: line.Parity, Stop: line.Stop, DTR: levels[a.DTR], RTS: levels[a.RTS]})
	if err != nil {
		return nil, &port.OpenError{Port: a.Host, Cause: err}
	}
	return link, nil
}
