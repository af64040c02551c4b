package dashboard

import "golang.org/x/sys/windows"

// freeOn returns the bytes that this user may still write to the disk that
// holds folder.
func freeOn(folder string) (free uint64, err error) {
	name, err := windows.UTF16PtrFromString(folder)
	if err != nil {
		return 0, err
	}
	err = windows.GetDiskFreeSpaceEx(name, &free, nil, nil)
	return free, err
}
