package doctor

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"

	"golang.org/x/sys/unix"

	"lobescribe/device/address"
	"lobescribe/device/measure"
)

// linux reads /proc, /sys and what udev keeps, below root.
type linux struct{ root string }

func systemAt(root string) system { return linux{root} }

func (l linux) path(parts ...string) string {
	return filepath.Join(append([]string{l.root}, parts...)...)
}

func (l linux) running(program string) bool {
	entries, err := os.ReadDir(l.path("proc"))
	if err != nil {
		return false
	}
	for _, e := range entries {
		if _, err := strconv.Atoi(e.Name()); err != nil {
			continue
		}
		if b, err := os.ReadFile(l.path("proc", e.Name(), "comm")); err == nil && strings.TrimSpace(string(b)) == program {
			return true
		}
	}
	return false
}

func (l linux) property(port, name string) string {
	var device string
	if info, err := os.Stat(port); err == nil {
		if st, ok := info.Sys().(*syscall.Stat_t); ok {
			device = fmt.Sprintf("c%d:%d", unix.Major(uint64(st.Rdev)), unix.Minor(uint64(st.Rdev)))
		}
	}
	b, err := os.ReadFile(l.path("run/udev/data", device))
	if err != nil {
		return ""
	}
	for line := range strings.SplitSeq(string(b), "\n") {
		if v, ok := strings.CutPrefix(line, "E:"+name+"="); ok {
			return v
		}
	}
	return ""
}

func (l linux) claimed(rules string, id address.USBIdentity) bool {
	for _, dir := range []string{"etc/udev/rules.d", "run/udev/rules.d", "lib/udev/rules.d", "usr/lib/udev/rules.d"} {
		names, _ := filepath.Glob(l.path(dir, "*"+rules+"*.rules"))
		for _, n := range names {
			b, err := os.ReadFile(n)
			if err != nil {
				continue
			}
			for line := range strings.SplitSeq(strings.ToLower(string(b)), "\n") {
				if !strings.HasPrefix(strings.TrimSpace(line), "#") && lists(line, id) {
					return true
				}
			}
		}
	}
	return false
}

// lists reports whether a rule names the identity, as "1a86/7523/*" or by its
// two attributes. Rules write 0403 as 403 in the first form.
func lists(line string, id address.USBIdentity) bool {
	v, p := strings.ToLower(id.Vendor), strings.ToLower(id.Product)
	short := strings.TrimLeft(v, "0") + "/" + strings.TrimLeft(p, "0") + "/"
	return strings.Contains(line, `"`+short) || strings.Contains(line, `"`+v+`"`) && strings.Contains(line, `"`+p+`"`)
}

// LatencyTimer returns what the timer of a USB converter is set to, where the
// driver tells; 0 otherwise.
func LatencyTimer(port string) measure.Stamp { return linux{"/"}.latencyTimer(port) }

func (l linux) latencyTimer(port string) measure.Stamp {
	if real, err := filepath.EvalSymlinks(port); err == nil {
		port = real
	}
	b, err := os.ReadFile(l.path("sys/bus/usb-serial/devices", filepath.Base(port), "latency_timer"))
	if err != nil {
		return 0
	}
	ms, err := strconv.Atoi(strings.TrimSpace(string(b)))
	if err != nil || ms < 0 || ms > 255 {
		return 0
	}
	return measure.Stamp(ms) * measure.Millisecond
}

func timerCommand(port string) string {
	return fmt.Sprintf("echo 1 | sudo tee /sys/bus/usb-serial/devices/%s/latency_timer", filepath.Base(port))
}
