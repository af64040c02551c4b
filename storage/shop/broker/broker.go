// Package broker runs a NATS server with JetStream as a part of this program,
// for a shop that has none of its own.
//
// It is NATS' own server with NATS' own configuration: what it cannot be told
// here, a configuration file can. Without one it listens on the loopback only,
// since it then asks nobody for credentials.
package broker

import (
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net"
	"net/url"
	"os"
	"strconv"
	"time"

	"github.com/nats-io/nats-server/v2/server"
)

// Options says how the server runs.
type Options struct {
	// Addr is HOST:PORT; port 0 picks a free one. Default: what Config says,
	// and 127.0.0.1:4222 without one.
	Addr string
	// Config is a configuration file of NATS.
	Config string
	// Folder is where the streams are kept, unless Config says otherwise.
	Folder string
	// Log gets what goes wrong. Default: nowhere.
	Log *slog.Logger
}

// Broker is a running server. Close it.
type Broker struct{ s *server.Server }

// Start runs a server, and returns when it takes connections.
func Start(o Options) (*Broker, error) {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	opts, err := o.server()
	if err != nil {
		return nil, err
	}
	s, err := server.NewServer(opts)
	if err != nil {
		return nil, fmt.Errorf("starting the NATS server: %w", err)
	}
	s.SetLoggerV2(logger{o.Log}, false, false, false)
	s.Start()
	if !s.ReadyForConnections(30 * time.Second) {
		s.Shutdown()
		return nil, fmt.Errorf("the NATS server did not come up at %s: is the port taken? Another one is --listen 127.0.0.1:0", net.JoinHostPort(opts.Host, strconv.Itoa(opts.Port)))
	}
	return &Broker{s}, nil
}

func (o Options) server() (*server.Options, error) {
	opts := &server.Options{}
	if o.Config != "" {
		var err error
		if opts, err = server.ProcessConfigFile(o.Config); errors.Is(err, fs.ErrNotExist) {
			return nil, fmt.Errorf("the NATS configuration %s is not there", o.Config)
		} else if err != nil {
			return nil, fmt.Errorf("the NATS configuration is not right: %w", err)
		}
	} else if o.Addr == "" {
		o.Addr = "127.0.0.1:4222"
	}
	if o.Addr != "" {
		if err := o.listen(opts); err != nil {
			return nil, err
		}
	}
	opts.JetStream = true
	if opts.StoreDir == "" {
		if err := os.MkdirAll(o.Folder, 0o700); err != nil {
			return nil, fmt.Errorf("making the folder of the streams: %w", err)
		}
		opts.StoreDir = o.Folder
	}
	opts.NoSigs = true // signals are this program's
	return opts, nil
}

// listen puts Addr into opts. Without a configuration nobody is asked who he
// is, and so only this machine is let in.
func (o Options) listen(opts *server.Options) error {
	host, port, err := net.SplitHostPort(o.Addr)
	if err != nil {
		return fmt.Errorf("%q is no HOST:PORT, as in 127.0.0.1:4222: %w", o.Addr, err)
	}
	ip := net.ParseIP(host)
	if loopback := host == "localhost" || ip != nil && ip.IsLoopback(); !loopback && o.Config == "" {
		return fmt.Errorf("%s opens the shop's record to other machines, and asks nobody who they are: give a NATS configuration with users and TLS, as in testdata/shop/nats.conf", o.Addr)
	}
	n, err := strconv.ParseUint(port, 10, 16)
	if err != nil {
		return fmt.Errorf("%q has no port number", o.Addr)
	}
	opts.Host, opts.Port = host, int(n)
	if n == 0 {
		opts.Port = server.RANDOM_PORT
	}
	return nil
}

// URL is where the server is, as this machine reaches it.
func (b *Broker) URL() string {
	u, err := url.Parse(b.s.ClientURL())
	if err != nil {
		return b.s.ClientURL()
	}
	if ip := net.ParseIP(u.Hostname()); ip != nil && ip.IsUnspecified() {
		u.Host = net.JoinHostPort("127.0.0.1", u.Port())
	}
	return u.String()
}

// Addr is where the server listens.
func (b *Broker) Addr() net.Addr { return b.s.Addr() }

// Close stops the server, when what it has acknowledged is on disk.
func (b *Broker) Close() {
	b.s.Shutdown()
	b.s.WaitForShutdown()
}

// logger gives the server's warnings and errors to our log.
type logger struct{ log *slog.Logger }

func (l logger) Noticef(string, ...any) {}
func (l logger) Debugf(string, ...any)  {}
func (l logger) Tracef(string, ...any)  {}

func (l logger) Warnf(format string, v ...any) {
	l.log.Warn("NATS server", "says", fmt.Sprintf(format, v...))
}

func (l logger) Errorf(format string, v ...any) {
	l.log.Error("NATS server", "says", fmt.Sprintf(format, v...))
}

func (l logger) Fatalf(format string, v ...any) {
	l.log.Error("NATS server", "says", fmt.Sprintf(format, v...))
}
