package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"lobescribe/dashboard"
	"lobescribe/dashboard/live"
	"lobescribe/device/measure"
	"lobescribe/storage"
	"lobescribe/storage/shop"
	"lobescribe/storage/shop/broker"
)

// shopAddr is where the page over a shop is unless --addr says otherwise: a
// bench of the shop may run on the same machine.
const shopAddr = "127.0.0.1:8418"

// shopPage is the command that serves the page over a shop.
type shopPage struct {
	serveFlags
	at       shopFlags
	embedded bool
	listen   string
	config   string
	replicas int
	rebuild  bool
	join     string // the server's address for a bench
}

func newShop() *cobra.Command {
	var f shopPage
	cmd := &cobra.Command{
		Use:   "shop",
		Short: "Many benches: one page over what all of them recorded",
		Long: `Reads what the benches of a shop tell its NATS server, makes a record of its own
of it, and serves the page over that: benches, engines, valves, and how engines of
one type differ. It only shows. The record stands in the folder "shop" of the data
folder unless --data names another, and can be made again from the server's stream
at any time.

  lobescribe shop --embedded                       (to try it: runs the server, too)
  lobescribe serve --shop nats://127.0.0.1:4222    (a bench that tells it)
  lobescribe shop --shop tls://nats.shop:4222 --shop-creds page.creds
  lobescribe shop engines --shop nats://10.0.0.7:4222
  lobescribe shop fetch ENGINE --shop nats://10.0.0.7:4222

The server is NATS with JetStream. With --embedded it runs in this process, for this
machine only; for other machines it needs a NATS configuration with users and TLS:
--nats-config FILE --listen 0.0.0.0:4222.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error { return f.run(cmd) },
	}
	f.addPage(cmd)
	f.addr = shopAddr
	cmd.Flags().Lookup("addr").DefValue = shopAddr
	f.at.add(cmd.PersistentFlags())
	cmd.Flags().BoolVar(&f.embedded, "embedded", false, "run the NATS server in this process")
	cmd.Flags().StringVar(&f.listen, "listen", "", "with --embedded: where the server listens (default 127.0.0.1:4222); port 0 picks a free one")
	cmd.Flags().StringVar(&f.config, "nats-config", "", "with --embedded: a configuration file of NATS, with users and TLS")
	readsFile(cmd.Flags(), "nats-config", "conf")
	cmd.Flags().IntVar(&f.replicas, "replicas", 1, "on how many of the server's nodes the stream is kept, where it is not there yet: 1, 3 or 5")
	cmd.Flags().BoolVar(&f.rebuild, "rebuild", false, "make the record again from the stream; the old one is kept beside it")
	addJSONFlag(cmd)
	cmd.AddCommand(newShopEngines(&f.at), newShopFetch(&f.at))
	return cmd
}

func (f *shopPage) run(cmd *cobra.Command) (err error) {
	if err := f.words(); err != nil {
		return err
	}
	if !cmd.Flags().Changed("data") {
		dir, err := dataFolder(cmd)
		if err != nil {
			return err
		}
		if err := cmd.Flags().Set("data", filepath.Join(dir, "shop")); err != nil {
			return err
		}
	}
	keepGoing()
	dir, err := dataFolder(cmd)
	if err != nil {
		return err
	}
	name := filepath.Join(dir, storeFile)
	if f.rebuild {
		if err := f.setAside(cmd, name, "--rebuild was asked for"); err != nil {
			return err
		}
	}
	// First the record, whose file only one process has: two servers on one
	// folder of streams would hurt them.
	store, err := openRecord(cmd, name)
	if err != nil {
		return err
	}
	defer func() {
		if store != nil {
			err = errors.Join(err, store.Close())
		}
	}()
	if f.embedded {
		b, err := broker.Start(broker.Options{Addr: f.listen, Config: f.config, Folder: filepath.Join(dir, "streams"), Log: logger(cmd)})
		if err != nil {
			return err
		}
		defer b.Close()
		if f.at.url == "" {
			f.at.url = b.URL()
			f.join = fromElsewhere(b)
		}
	}
	for first := true; ; first = false {
		err := f.serveRecord(cmd, store, first)
		if !errors.Is(err, shop.ErrOtherStream) && !errors.Is(err, shop.ErrOlderRecord) {
			return err
		}
		why := oneLine(err)
		err = store.Close()
		store = nil
		if err != nil {
			return err
		}
		if err := f.setAside(cmd, name, why); err != nil {
			return err
		}
		if store, err = openRecord(cmd, name); err != nil {
			return err
		}
	}
}

// fromElsewhere returns the server's address as other machines reach it, if it
// listens for them.
func fromElsewhere(b *broker.Broker) string {
	host, port, err := net.SplitHostPort(b.Addr().String())
	if ip := net.ParseIP(host); err != nil || ip == nil || !ip.IsUnspecified() {
		return b.URL()
	}
	scheme, _, _ := strings.Cut(b.URL(), "://")
	return scheme + "://" + net.JoinHostPort(ownAddress(), port)
}

// words checks the flags against each other.
func (f *shopPage) words() error {
	switch {
	case !f.embedded && f.listen != "":
		return wrongWords("--listen is of the server that --embedded runs")
	case !f.embedded && f.config != "":
		return wrongWords("--nats-config is of the server that --embedded runs")
	case f.replicas != 1 && f.replicas != 3 && f.replicas != 5:
		return wrongWords("--replicas must be 1, 3 or 5, not %d", f.replicas)
	case !f.embedded && f.at.url == "":
		return wrongWords("name the shop's server: --shop nats://HOST:4222, or run one in here: --embedded")
	}
	if f.at.url == "" {
		return nil // it is the embedded one's, which does not run yet
	}
	_, err := f.at.server()
	return err
}

// openRecord opens the record of a shop, and refuses a bench's own store.
func openRecord(cmd *cobra.Command, name string) (*storage.Store, error) {
	return storage.Open(name, storage.Options{Repair: true, Log: logger(cmd)})
}

// setAside renames a record, so that another one can be made in its place; it
// is never deleted. A bench's own store stays where it is.
func (f *shopPage) setAside(cmd *cobra.Command, name, why string) error {
	if _, err := os.Stat(name); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err := mayBeSetAside(cmd, name); err != nil {
		return err
	}
	stem, ext := strings.TrimSuffix(name, filepath.Ext(name)), filepath.Ext(name)
	for n := 1; ; n++ {
		aside := stem + "-old-" + time.Now().Format("20060102-150405") + ext
		if n > 1 {
			aside = fmt.Sprintf("%s-old-%s-%d%s", stem, time.Now().Format("20060102-150405"), n, ext)
		}
		if _, err := os.Lstat(aside); err == nil {
			continue
		}
		if err := os.Rename(name, aside); err != nil {
			return fmt.Errorf("setting the old record aside: %w", err)
		}
		fmt.Fprintf(cmd.ErrOrStderr(), "lobescribe: the record is made again from the stream (%s); the old one is kept as %s\n", why, aside)
		return nil
	}
}

// mayBeSetAside sees to it that nobody has the file open, and that it is no
// bench's own. One so hurt that it cannot be opened may go.
func mayBeSetAside(cmd *cobra.Command, name string) (err error) {
	store, err := storage.Open(name, storage.Options{Log: logger(cmd)})
	if hurt := (*storage.Damage)(nil); errors.As(err, &hurt) {
		return nil
	}
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	is, err := shop.IsRecord(store)
	if hurt := (*storage.Damage)(nil); is || errors.As(err, &hurt) {
		return nil
	}
	if err != nil {
		return err
	}
	return notARecord(name)
}

func notARecord(name string) error {
	return fmt.Errorf("%s is a bench's own store, and no record of a shop: name another folder with --data", name)
}

// serveRecord reads the stream into the store and serves the page over it,
// until the command's context is done or the store turns out to be the record
// of another stream.
func (f *shopPage) serveRecord(cmd *cobra.Command, store *storage.Store, first bool) (err error) {
	p, err := newPrinter(cmd)
	if err != nil {
		return err
	}
	log := logger(cmd)
	at, err := f.at.server()
	if err != nil {
		return err
	}
	reader, err := shop.NewReader(shop.ReaderOptions{Store: store, Server: at, Stream: shop.StreamOptions{Replicas: f.replicas}, Log: log})
	if errors.Is(err, shop.ErrBench) {
		return notARecord(store.Path())
	}
	if err != nil {
		return err
	}
	hub := live.NewHub(live.HubOptions{Version: version, LAN: f.lan, Log: log})
	o, err := f.pageOptions(cmd)
	if err != nil {
		return err
	}
	o.Hub, o.Store, o.Bench, o.Version, o.Log, o.Record = hub, store, recordBench{store}, version, log, reader.State
	o.Metrics = dashboard.NewMetrics(dashboard.MetricsOptions{Version: version, Hub: hub, Store: store.Path(), Record: reader.State, Log: log})
	server, err := dashboard.New(o)
	if err != nil {
		return err
	}
	listener, err := f.listener(first)
	if err != nil {
		return err
	}
	f.addr = listener.Addr().String() // where it comes back to, after a rebuild
	forget, err := leaveWord(store.Path(), listener.Addr(), o)
	if err != nil {
		log.Error("other commands will not find this page", "error", err)
	}
	defer forget()
	if first {
		if err := f.greetShop(p, listener.Addr(), o, at); err != nil {
			return errors.Join(err, listener.Close())
		}
	}
	ctx, stop := context.WithCancel(cmd.Context())
	defer stop()
	ended := make(chan error, 1)
	go func() {
		defer stop() // a record of another stream is not shown on
		ended <- reader.Run(ctx)
	}()
	err = server.Serve(ctx, listener)
	stop()
	return errors.Join(err, <-ended)
}

// listener opens the page's address. After a rebuild it is where it was.
func (f *shopPage) listener(first bool) (net.Listener, error) {
	l, err := listenOn(f.addr, f.lan)
	for late := time.Now().Add(10 * time.Second); err != nil && !first && time.Now().Before(late); {
		time.Sleep(100 * time.Millisecond) // some systems let go of it slowly
		l, err = listenOn(f.addr, f.lan)
	}
	return l, err
}

// greetShop prints where the page is and how a bench joins.
func (f *shopPage) greetShop(p printer, at net.Addr, o dashboard.Options, server shop.Server) error {
	v := struct {
		URL  string `json:"url"`
		LAN  string `json:"lan_url,omitempty"`
		Shop string `json:"shop"`
	}{URL: scheme(o) + "://" + hereOf(at) + "/", Shop: cmp.Or(f.join, server.String())}
	if f.lan {
		v.LAN = lanURL(scheme(o), at, o.Key)
	}
	return p.print(v, func(w io.Writer, _ measure.Unit) error {
		fmt.Fprintf(w, "Lobescribe is at %s\n", v.URL)
		fmt.Fprintf(w, "A bench joins the shop with:  lobescribe serve --shop %s --bench NAME\n", v.Shop)
		if f.embedded && f.config == "" {
			fmt.Fprintln(w, "(on this machine only; the manual, \"Many benches\", says how to let other machines in)")
		}
		if v.LAN != "" {
			return printLANLink(w, v.LAN)
		}
		return nil
	})
}
