package device

import (
	"errors"
)

// errSilent is why a link is given up that should have spoken.
var errSilent = errors.New("nothing came any more")

// errEnded is a link whose other side closed it.
var errEnded = errors.New("the other side closed the link")

// errSlept is why a link is given up after the computer slept.
var errSlept = errors.New("the computer slept")
