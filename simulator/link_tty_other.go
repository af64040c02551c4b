//go:build !linux && !darwin

package simulator

func openTTY(string) (plug, error) { return nil, ErrNoTTY }
