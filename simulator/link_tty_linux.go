package simulator

import "golang.org/x/sys/unix"

const (
	getTermios  = unix.TCGETS
	setTermios  = unix.TCSETS
	unreadBytes = unix.TIOCINQ
)

func flushInput(fd int) error { return unix.IoctlSetInt(fd, unix.TCFLSH, unix.TCIFLUSH) }
