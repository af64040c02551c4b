package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"lobescribe/capture"
	"lobescribe/capture/valve"
	"lobescribe/cmd/lobescribe/daemon"
	"lobescribe/dashboard"
	"lobescribe/dashboard/door"
	"lobescribe/dashboard/live"
	"lobescribe/device/address"
	"lobescribe/device/measure"
	"lobescribe/simulator"
	"lobescribe/storage"
)

// defaultAddr is where the page is unless --addr says otherwise.
const defaultAddr = "127.0.0.1:8417"

// serveFlags are the flags of everything that serves the page.
type serveFlags struct {
	addr      string
	page      string
	lan       bool
	tls       bool
	cert      string
	certKey   string
	pprof     string
	direction string
	shop      shopFlags
	named     []address.Address // on the command line
	rest      measure.Stamp     // on the heel, that ends a trace; 0: as promised
	// sim is how the simulator is started from the page; nil: as it comes.
	sim *simulateFlags
}

func (f *serveFlags) add(cmd *cobra.Command) {
	f.addPage(cmd)
	addDirectionFlag(cmd, &f.direction)
}

// addPage adds what says where the page is and who gets in.
func (f *serveFlags) addPage(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.addr, "addr", defaultAddr, "where the page is; port 0 picks a free one")
	cmd.Flags().StringVar(&f.page, "page", "", "folder with the page's files, in place of those in the binary")
	cmd.Flags().BoolVar(&f.lan, "lan", false, "let in other machines on the local network, with a key")
	cmd.Flags().BoolVar(&f.tls, "tls", false, "serve over TLS (a phone keeps its screen awake only then)")
	cmd.Flags().StringVar(&f.cert, "cert", "", "with --tls: your own certificate (PEM); default: one made on first use")
	cmd.Flags().StringVar(&f.certKey, "cert-key", "", "with --cert: its key (PEM)")
	cmd.Flags().StringVar(&f.pprof, "pprof", "", "serve the Go profiler at this loopback address, as in 127.0.0.1:6060")
	readsFolder(cmd.Flags(), "page")
	readsFile(cmd.Flags(), "cert", "pem", "crt")
	readsFile(cmd.Flags(), "cert-key", "pem", "key")
}

func newServe() *cobra.Command {
	var f serveFlags
	var addresses deviceFlags
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "The daemon: devices, capture, store and page",
		Long: `Runs the daemon and serves the page, by default for this machine only. Devices
named here are used and remembered; without any, the page leads to them.

  lobescribe serve
  lobescribe serve --indicator serial:/dev/ttyUSB0
  lobescribe serve --indicator serial:/dev/ttyUSB0 --encoder 'serial:/dev/ttyACM0?counts=2400'
  lobescribe serve --indicator serial:/dev/ttyUSB0 --sweep serial:/dev/ttyUSB1

With --shop what is recorded is also told to a shop's NATS server, whenever that is
there; without a network it waits in the store.`,
		Args:        cobra.NoArgs,
		Annotations: map[string]string{allSettings: ""},
		RunE: func(cmd *cobra.Command, args []string) error {
			var devices map[capture.Role]address.Address
			if addresses != (deviceFlags{}) {
				o, err := deviceOptions(cmd)
				if err != nil {
					return err
				}
				if devices, err = addresses.parse(o); err != nil {
					return err
				}
				f.named = slices.Collect(maps.Values(devices))
			}
			return f.run(cmd, daemon.SourceLive, func(d *daemon.Daemon, _ *storage.Store) error {
				if devices == nil {
					return d.Restore()
				}
				for role, a := range devices {
					if err := d.Connect(cmd.Context(), string(role), a.String()); err != nil {
						return err
					}
				}
				return nil
			})
		},
	}
	f.add(cmd)
	f.shop.add(cmd.Flags())
	f.shop.addBench(cmd.Flags())
	addresses.add(cmd.Flags())
	addJSONFlag(cmd)
	return cmd
}

// run serves what the store holds. begin is called when everything is up,
// before the address is printed.
func (f *serveFlags) run(cmd *cobra.Command, source string, begin func(*daemon.Daemon, *storage.Store) error) (err error) {
	keepGoing()
	store, err := openStore(cmd, storage.Options{Repair: true, ProveLater: true})
	if err != nil {
		return err
	}
	clearHalves(store.Path(), logger(cmd))
	defer func() { err = errors.Join(err, store.Close()) }()
	return f.serve(cmd, store, source, begin)
}

// serve runs the daemon and the page until the command's context is done.
func (f *serveFlags) serve(cmd *cobra.Command, store *storage.Store, source string, begin func(*daemon.Daemon, *storage.Store) error) (err error) {
	p, err := newPrinter(cmd)
	if err != nil {
		return err
	}
	sign, err := parseDirection(f.direction)
	if err != nil {
		return err
	}
	o, err := f.pageOptions(cmd)
	if err != nil {
		return err
	}
	log := slog.New(door.Scrub(logger(cmd).Handler(), o.Key))
	devices, err := deviceOptions(cmd)
	if err != nil {
		return err
	}
	if f.pprof != "" {
		end, err := profile(f.pprof)
		if err != nil {
			return err
		}
		defer func() { _ = end() }()
	}
	ctx, stop := context.WithCancel(cmd.Context())
	defer stop()
	set, err := store.Bench()
	if err != nil {
		return err
	}
	member, err := f.shop.join(store, log)
	if err != nil {
		return err
	}
	hub := live.NewHub(live.HubOptions{Version: version, LAN: f.lan, Units: set.Units, Log: log})
	sim := simulateFlags{seed: 1, rate: 50, unit: "in", speed: 1}
	if f.sim != nil {
		sim = *f.sim
	}
	d := daemon.New(ctx, daemon.Options{Log: log, Device: devices, Store: store, Hub: hub, Version: version, Source: source,
		Sign: sign, Rest: f.rest, Simulate: sim.start, Publisher: member.tells()})
	defer func() {
		stop()
		err = errors.Join(err, d.Wait())
	}()

	o.Hub, o.Store, o.Bench, o.Version, o.Log = hub, store, d, version, log
	o.Named = f.named
	o.Alive, o.Metrics, o.Telling = d.Answers, d.Metrics(), member.telling()
	server, err := dashboard.New(o)
	if err != nil {
		return err
	}
	listener, err := listenOn(f.addr, f.lan)
	if err != nil {
		return err
	}
	forget, err := leaveWord(store.Path(), listener.Addr(), o)
	if err != nil {
		// A full disk must not keep the bench from starting.
		log.Error("other commands will not find this daemon", "error", err)
	}
	defer forget()
	if err := begin(d, store); err != nil {
		return errors.Join(err, listener.Close())
	}
	if err := f.greet(p, listener.Addr(), o); err != nil {
		return errors.Join(err, listener.Close())
	}
	url := scheme(o) + "://" + hereOf(listener.Addr()) + "/"
	tellService(ctx, d, hub, url, o)
	log.Info("serving", "url", url, "version", version, "store", store.Path())
	defer log.Info("stopping")
	return server.Serve(ctx, listener)
}

// pageOptions says who gets in, and which page is served.
func (f *serveFlags) pageOptions(cmd *cobra.Command) (o dashboard.Options, err error) {
	if o.LAN = f.lan; f.lan {
		name, err := keyPath(cmd)
		if err != nil {
			return o, err
		}
		if o.Key, _, err = door.KeptKey(name, false); err != nil {
			return o, err
		}
		o.Names = hostNames()
	}
	if o.TLS, err = f.certificate(cmd); err != nil {
		return o, err
	}
	if f.page != "" {
		if _, err := os.Stat(filepath.Join(f.page, "index.html")); err != nil {
			return o, wrongWords("--page %s: there is no page in it: %w", f.page, err)
		}
		o.Page = os.DirFS(f.page)
	}
	return o, nil
}

// certificate returns what to show over TLS; nil without --tls.
func (f *serveFlags) certificate(cmd *cobra.Command) (*tls.Config, error) {
	if (f.cert == "") != (f.certKey == "") {
		return nil, wrongWords("--cert and --cert-key go together")
	}
	if !f.tls && f.cert == "" {
		return nil, nil
	}
	dir, err := dataFolder(cmd)
	if err != nil {
		return nil, err
	}
	var c *door.Certificate
	if f.cert != "" {
		c, err = door.ReadCertificate(f.cert, f.certKey)
	} else {
		c, err = door.OwnCertificate(dir, append(hostNames(), ownAddress()), time.Now())
	}
	if err != nil {
		return nil, err
	}
	fmt.Fprintf(cmd.ErrOrStderr(), "the certificate's SHA-256 is %s\n", c.Fingerprint)
	return c.TLS, nil
}

// listenOn opens the page's address; without the local network only a loopback
// one is taken.
func listenOn(addr string, lan bool) (net.Listener, error) {
	host, _, err := net.SplitHostPort(addr)
	if err != nil {
		return nil, wrongWords("--addr %q is no HOST:PORT, as in 127.0.0.1:8417: %w", addr, err)
	}
	if ip := net.ParseIP(host); !lan && host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return nil, wrongWords("--addr %s opens the page to other machines: add --lan, which asks them for a key", addr)
	}
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return nil, fmt.Errorf("open the page's address: %w (is another lobescribe running? --addr 127.0.0.1:0 picks a free port)", err)
	}
	return l, nil
}

// greet prints where the page is.
func (f *serveFlags) greet(p printer, at net.Addr, o dashboard.Options) error {
	v := struct {
		URL string `json:"url"`
		LAN string `json:"lan_url,omitempty"`
	}{URL: scheme(o) + "://" + hereOf(at) + "/"}
	if f.lan {
		v.LAN = lanURL(scheme(o), at, o.Key)
	}
	return p.print(v, func(w io.Writer, _ measure.Unit) error {
		fmt.Fprintf(w, "Lobescribe is at %s\n", v.URL)
		switch {
		case v.LAN != "" && isTerminal(w):
			return printLANLink(w, v.LAN)
		case v.LAN != "":
			// Whatever reads this may keep it for others, as a journal does.
			fmt.Fprintf(w, "Other machines on this network reach it at %s, with the key that `lobescribe key` prints\n", strings.TrimSuffix(v.LAN, "?key="+o.Key.Reveal()))
		}
		return nil
	})
}

// hereOf returns at as this machine reaches it.
func hereOf(at net.Addr) string {
	host, port, err := net.SplitHostPort(at.String())
	if ip := net.ParseIP(host); err == nil && ip.IsUnspecified() {
		return net.JoinHostPort("127.0.0.1", port)
	}
	return at.String()
}

func scheme(o dashboard.Options) string {
	if o.TLS != nil {
		return "https"
	}
	return "http"
}

// start runs a simulated bench until ctx is done; it is what a daemon is given
// to put in the place of its instruments.
func (f simulateFlags) start(ctx context.Context) (*daemon.Simulated, error) {
	live, err := f.serve(ctx)
	if err != nil {
		return nil, err
	}
	context.AfterFunc(ctx, func() { _ = live.Close() })
	return &daemon.Simulated{Addresses: addresses(live), MoveTo: func(name string) {
		if i, ok := muleValve(name); ok {
			// It waits for the sender; the page must not.
			go func() { _ = live.MoveTo(i) }()
		}
	}, Lay: func(against storage.Against) {
		go func() { _ = live.Lay(against == storage.AgainstSide) }()
	}, Prove: func() error {
		go func() { _ = live.Prove(simulator.Proving{}) }()
		return nil
	}}, nil
}

// muleValve returns which valve of the simulator's engine has a name; false for
// none.
func muleValve(name string) (int, bool) {
	v, err := valve.Parse(name)
	i := slices.Index(valve.Of([]int{1, 2, 3, 4}, 2), v)
	return i, err == nil && i >= 0
}
