package ports

import (
	"fmt"
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
)

// HolderOf names another program that has the port open, as far as the system
// lets us see: the programs of the same person, or all for root. A port that
// somebody reads is never opened: the two would steal each other's bytes. A
// pseudo-tty is held by its maker and does not count.
func HolderOf(name string) (holder string, held bool) {
	if Pseudo(name) {
		return "", false
	}
	return holderIn("/proc", name)
}

func holderIn(proc, name string) (holder string, held bool) {
	real, err := filepath.EvalSymlinks(name)
	if err != nil {
		return "", false
	}
	processes, err := os.ReadDir(proc)
	if err != nil {
		return "", false
	}
	for _, p := range processes {
		pid, err := strconv.Atoi(p.Name())
		if err != nil || pid == os.Getpid() {
			continue
		}
		fds := filepath.Join(proc, p.Name(), "fd")
		names, err := os.ReadDir(fds)
		if err != nil {
			continue
		}
		for _, fd := range names {
			if to, err := os.Readlink(filepath.Join(fds, fd.Name())); err == nil && to == real {
				return fmt.Sprintf("%s (process %d)", programOf(proc, p.Name()), pid), true
			}
		}
	}
	return "", false
}

func programOf(proc, pid string) string {
	b, err := os.ReadFile(filepath.Join(proc, pid, "comm"))
	if err != nil {
		return "a program"
	}
	return strings.TrimSpace(string(b))
}

// PermissionHint names the group that owns the port.
func PermissionHint(name string) string {
	info, err := os.Stat(name)
	if err != nil {
		return "ask whoever runs this computer for the right to use it"
	}
	st, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return ""
	}
	return groupHint(groupName(st.Gid), st.Gid, info.Mode())
}

func groupName(gid uint32) string {
	id := strconv.FormatUint(uint64(gid), 10)
	if g, err := user.LookupGroupId(id); err == nil {
		return g.Name
	}
	return id
}

// groupHint says how to get into the group; if the group may not use the port
// either, that no group will help.
func groupHint(group string, gid uint32, mode os.FileMode) string {
	if gid == 0 || mode.Perm()&0o060 != 0o060 {
		return "no group may use it: a udev rule for it is missing (look at `lobescribe doctor`)"
	}
	return fmt.Sprintf("join group %s: sudo usermod -aG %s $USER, then log out and in", group, group)
}
