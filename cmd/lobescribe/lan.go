package main

import (
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"rsc.io/qr"

	"lobescribe/dashboard/door"
)

// keyFile holds the key of the local network, readable by its owner only.
const keyFile = "lan.key"

// keyPath returns where the key of this store's folder is.
func keyPath(cmd *cobra.Command) (string, error) {
	dir, err := dataFolder(cmd)
	return filepath.Join(dir, keyFile), err
}

func newKeyCommand() *cobra.Command {
	var fresh bool
	cmd := &cobra.Command{
		Use:   "key",
		Short: "The key that --lan asks other machines for; --new makes another and locks out the old",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := keyPath(cmd)
			if err != nil {
				return err
			}
			key, _, err := door.KeptKey(name, fresh)
			if err != nil {
				return err
			}
			_, err = fmt.Fprintln(cmd.OutOrStdout(), key.Reveal())
			return err
		},
	}
	cmd.Flags().BoolVar(&fresh, "new", false, "make a new key; it holds from the daemon's next start")
	return cmd
}

// hostNames returns the names other machines may call this one by.
func hostNames() []string {
	name, err := os.Hostname()
	if err != nil {
		return nil
	}
	return []string{name, name + ".local"}
}

// lanURL returns the link for a phone or tablet, with the key.
func lanURL(scheme string, at net.Addr, key door.Key) string {
	host, port, _ := net.SplitHostPort(at.String())
	if ip := net.ParseIP(host); ip == nil || ip.IsUnspecified() || ip.IsLoopback() {
		host = ownAddress()
	}
	return scheme + "://" + net.JoinHostPort(host, port) + "/?key=" + key.Reveal()
}

// ownAddress returns this machine's first address on a network, or the
// loopback when there is none.
func ownAddress() string {
	addrs, err := net.InterfaceAddrs()
	if err != nil {
		return "127.0.0.1"
	}
	for _, a := range addrs {
		if n, ok := a.(*net.IPNet); ok && n.IP.To4() != nil && !n.IP.IsLoopback() && !n.IP.IsLinkLocalUnicast() {
			return n.IP.String()
		}
	}
	return "127.0.0.1"
}

// isTerminal tells whether somebody looks at w while it is written.
func isTerminal(w io.Writer) bool {
	if h, ok := w.(harmless); ok {
		w = h.to
	}
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}

// printLANLink prints the link and its QR code, two rows of modules a line.
func printLANLink(w io.Writer, link string) error {
	code, err := qr.Encode(link, qr.M)
	if err != nil {
		return fmt.Errorf("drawing the QR code: %w", err)
	}
	fmt.Fprintf(w, "For a phone or tablet on this network (keep the link to yourself):\n%s\n\n", link)
	const quiet = 2
	light := func(x, y int) bool {
		return x < 0 || y < 0 || x >= code.Size || y >= code.Size || !code.Black(x, y)
	}
	var b strings.Builder
	for y := -quiet; y < code.Size+quiet; y += 2 {
		for x := -quiet; x < code.Size+quiet; x++ {
			switch top, bottom := light(x, y), light(x, y+1); {
			case top && bottom:
				b.WriteRune('█')
			case top:
				b.WriteRune('▀')
			case bottom:
				b.WriteRune('▄')
			default:
				b.WriteRune(' ')
			}
		}
		b.WriteByte('\n')
	}
	_, err = io.WriteString(w, b.String())
	return err
}
