//go:build !linux

package doctor

import (
	"lobescribe/device/address"
	"lobescribe/device/measure"
)

// nothing is known about other systems in this respect.
type nothing struct{}

func systemAt(string) system { return nothing{} }

func (nothing) running(string) bool                      { return false }
func (nothing) property(string, string) string           { return "" }
func (nothing) claimed(string, address.USBIdentity) bool { return false }

// LatencyTimer returns what the timer of a USB converter is set to, where the
// driver tells; 0 otherwise.
func LatencyTimer(string) measure.Stamp { return 0 }

func timerCommand(string) string { return "the driver's settings" }
