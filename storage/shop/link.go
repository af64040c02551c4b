package shop

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"strings"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"lobescribe/storage/textfile"
)

// StreamName is the stream's name on the server.
const StreamName = "LOBESCRIBE"

// Server says where the stream is and how to get in, by NATS' own means.
type Server struct {
	// URL is one or several, parted by commas: nats://HOST:4222, tls://…
	URL string
	// Credentials is a file: a .creds file (JWT and key), or an nkey's seed.
	Credentials string
	// CA is a PEM file with who signed the server's certificate. Default: the
	// system's own.
	CA string
	// Cert and CertKey are PEM files, where the server asks for a certificate.
	Cert, CertKey string
}

// Check says what is wrong with the words, without going anywhere.
func (s Server) Check() error {
	for part := range strings.SplitSeq(s.URL, ",") {
		u, err := url.Parse(strings.TrimSpace(part))
		if err != nil || u.Hostname() == "" || (u.Scheme != "nats" && u.Scheme != "tls") {
			return fmt.Errorf("%q is not a NATS server's address: write nats://HOST:4222, or tls://HOST:4222", Redact(part))
		}
	}
	if (s.Cert == "") != (s.CertKey == "") {
		return errors.New("a client's certificate and its key go together")
	}
	return nil
}

// String prints the address without a name or password.
func (s Server) String() string { return Redact(s.URL) }

// CheckFiles says which of the files that Server names cannot be used, so that
// somebody is told at once and not when the network is there.
func (s Server) CheckFiles() error {
	if err := s.Check(); err != nil {
		return err
	}
	_, err := s.options()
	return err
}

// link is a connection to the server, for one goroutine that asks one thing at
// a time: the server says that something is forbidden beside the answers, and
// so it is known what it was.
type link struct {
	nc *nats.Conn
	js jetstream.JetStream

	mu     sync.Mutex
	denied error
	stop   context.CancelCauseFunc // of what is being asked

	// back receives when the connection is there again, or gone for good.
	back chan struct{}
	// down is when it was lost; zero while it is there.
	down time.Time
}

// cutDialer connects as long as ctx lasts, and cuts the line when it ends:
// whoever stops a bench must not wait for a server that does not answer.
type cutDialer struct {
	ctx context.Context
	net.Dialer
	pace pace
}

// SkipHostLookup lets the dialer look names up itself, which ends with ctx too.
func (cutDialer) SkipHostLookup() bool { return true }

func (d cutDialer) Dial(network, address string) (net.Conn, error) {
	c, err := d.DialContext(d.ctx, network, address)
	if err != nil {
		return nil, err
	}
	return &cutConn{d.pace.on(d.ctx, c), context.AfterFunc(d.ctx, func() { c.Close() })}, nil
}

type cutConn struct {
	net.Conn
	forget func() bool
}

func (c *cutConn) Close() error {
	c.forget()
	return c.Conn.Close()
}

// dialing says who connects where.
type dialing struct {
	Server
	name string // the bench's, or the shop
	pace pace
	log  *slog.Logger
}

// pingEvery is how often the server must show that it is there; what it leaves
// unanswered twice ends the connection.
const pingEvery = 20 * time.Second

// dial connects.
func dial(ctx context.Context, d dialing) (*link, error) {
	s, name, log := d.Server, d.name, d.log
	if err := s.Check(); err != nil {
		return nil, err
	}
	l := &link{back: make(chan struct{}, 1)}
	opts := []nats.Option{
		nats.Name("lobescribe " + name),
		// Answers go where nobody else may listen.
		nats.CustomInboxPrefix("_INBOX." + name),
		nats.Timeout(5 * time.Second),
		nats.SetCustomDialer(cutDialer{ctx, net.Dialer{Timeout: 5 * time.Second}, d.pace}),
		nats.PingInterval(pingEvery), nats.MaxPingsOutstanding(2),
		nats.MaxReconnects(-1),
		nats.ReconnectWait(time.Second), nats.ReconnectJitter(time.Second, 2*time.Second),
		// What cannot be sent now is in the outbox, where it is safe.
		nats.ReconnectBufSize(-1),
		nats.ErrorHandler(l.heard),
		nats.DisconnectErrHandler(func(_ *nats.Conn, err error) {
			l.lost(time.Now())
			log.Info("the shop's server is gone; what is recorded waits in the outbox", "error", clipped(err))
		}),
		nats.ReconnectHandler(func(*nats.Conn) {
			l.lost(time.Time{})
			log.Info("the shop's server is back")
			l.poke()
		}),
		// Also when the server sends us away for good: then it is asked again.
		nats.ClosedHandler(func(*nats.Conn) { l.poke() }),
	}
	more, err := s.options()
	if err != nil {
		return nil, err
	}
	nc, err := nats.Connect(s.URL, append(opts, more...)...)
	if err != nil {
		return nil, connectError(s, err)
	}
	if err := ctx.Err(); err != nil {
		nc.Close()
		return nil, err
	}
	l.nc = nc
	if l.js, err = jetstream.New(nc); err != nil {
		nc.Close()
		return nil, err
	}
	return l, nil
}

// mostCredentials bounds a file of credentials or certificates in bytes.
const mostCredentials = 1 << 20

func (s Server) options() ([]nats.Option, error) {
	var opts []nats.Option
	if s.Credentials != "" {
		text, err := textfile.Read(s.Credentials, mostCredentials)
		if err != nil {
			return nil, fmt.Errorf("reading the shop's credentials: %w", err)
		}
		if strings.Contains(string(text), "NATS USER JWT") {
			opts = append(opts, nats.UserCredentials(s.Credentials))
		} else {
			o, err := nats.NkeyOptionFromSeed(s.Credentials)
			if err != nil {
				return nil, fmt.Errorf("the shop's credentials in %s are neither a .creds file nor the seed of an nkey (which begins with SU): ask whoever runs the server for one", s.Credentials)
			}
			opts = append(opts, o)
		}
	}
	if s.CA != "" {
		text, err := textfile.Read(s.CA, mostCredentials)
		if err != nil {
			return nil, fmt.Errorf("reading the shop's CA: %w", err)
		}
		if !x509.NewCertPool().AppendCertsFromPEM(text) {
			return nil, fmt.Errorf("no certificate is in %s: name the PEM file of who signed the server's", s.CA)
		}
		opts = append(opts, nats.RootCAs(s.CA))
	}
	if s.Cert != "" {
		opts = append(opts, nats.ClientCert(s.Cert, s.CertKey))
	}
	return opts, nil
}

// ErrLockedOut: the server does not let this program in as it asks to come in,
// and no waiting mends that.
var ErrLockedOut = errors.New("the shop's server lets nobody in like this")

// lockedOut is an error in its own words that is ErrLockedOut.
type lockedOut struct{ error }

func (l lockedOut) Is(target error) bool { return target == ErrLockedOut }
func (l lockedOut) Unwrap() error        { return l.error }

// connectError says what to do about a connection that does not come about.
func connectError(s Server, err error) error {
	var cert *tls.CertificateVerificationError
	switch {
	case errors.Is(err, nats.ErrAuthorization), errors.Is(err, nats.ErrAuthExpired), strings.Contains(strings.ToLower(err.Error()), "authorization violation"):
		return lockedOut{fmt.Errorf("the shop's server at %s lets nobody in with these credentials: check --shop-creds, or ask whoever runs the server", s)}
	case errors.As(err, &cert), errors.Is(err, nats.ErrSecureConnRequired):
		return lockedOut{fmt.Errorf("the shop's server at %s shows a certificate that nobody known has signed: name its CA with --shop-ca (%w)", s, err)}
	case errors.Is(err, nats.ErrSecureConnWanted):
		return lockedOut{fmt.Errorf("the shop's server at %s offers no TLS: use nats:// for it, or let it have a certificate", s)}
	}
	return fmt.Errorf("the shop's server at %s does not answer (%w): is it running, and the network there?", s, clipped(err))
}

// clipped is err in a bounded number of letters: the server's words may be in it.
func clipped(err error) error {
	const most = 300
	if err == nil || len(err.Error()) <= most {
		return err
	}
	return clippedError{err, strings.ToValidUTF8(err.Error()[:most], "") + "…"}
}

type clippedError struct {
	error
	says string
}

func (c clippedError) Error() string { return c.says }
func (c clippedError) Unwrap() error { return c.error }

func (l *link) close() { l.nc.Close() }

// lost notes since when the server is gone; zero: it is there.
func (l *link) lost(since time.Time) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.down = since
}

func (l *link) lostSince() time.Time {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.down
}

func (l *link) poke() {
	select {
	case l.back <- struct{}{}:
	default:
	}
}

// heard gets what the server says beside the answers.
func (l *link) heard(_ *nats.Conn, _ *nats.Subscription, err error) {
	if !errors.Is(err, nats.ErrPermissionViolation) {
		return
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.denied = err
	if l.stop != nil {
		l.stop(err)
	}
}

// ErrForbidden: the server's permissions do not allow it.
var ErrForbidden = errors.New("the shop's server forbids it")

// ask runs fn, which asks one thing of the server, and ends it when the server
// says that it is forbidden: no answer ever comes to that.
func (l *link) ask(ctx context.Context, patience time.Duration, fn func(context.Context) error) error {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	l.mu.Lock()
	l.denied, l.stop = nil, stop
	l.mu.Unlock()
	err := fn(ctx)
	l.mu.Lock()
	defer l.mu.Unlock()
	l.stop = nil
	if err != nil && l.denied != nil {
		return fmt.Errorf("%w: %s; a bench may speak under its own name only, so --bench and the credentials must belong together: ask whoever runs the server (its permissions are in its configuration)", ErrForbidden, firstLine(l.denied))
	}
	return err
}

func firstLine(err error) string {
	line, _, _ := strings.Cut(clipped(err).Error(), "\n")
	return line
}

// StreamOptions says how a stream is made that is not there yet.
type StreamOptions struct {
	Replicas int // 0: 1
}

// stream returns the stream, and makes it where it is not there and this user
// may.
func (l *link) stream(ctx context.Context, o StreamOptions) (jetstream.Stream, error) {
	var s jetstream.Stream
	err := l.ask(ctx, askPatience, func(ctx context.Context) (err error) {
		s, err = l.js.Stream(ctx, StreamName)
		return err
	})
	if !errors.Is(err, jetstream.ErrStreamNotFound) {
		return s, streamError(err)
	}
	err = l.ask(ctx, askPatience, func(ctx context.Context) (err error) {
		s, err = l.js.CreateStream(ctx, jetstream.StreamConfig{
			Name: StreamName, Description: "Lobescribe: the records of a shop's benches",
			Subjects: []string{Prefix + ">"},
			Storage:  jetstream.FileStorage, Replicas: max(o.Replicas, 1),
			Retention: jetstream.LimitsPolicy, Discard: jetstream.DiscardNew,
			Duplicates: 10 * time.Minute,
			// Nobody takes back what was recorded.
			DenyDelete: true, DenyPurge: true,
		})
		return err
	})
	if errors.Is(err, jetstream.ErrStreamNameAlreadyInUse) {
		return l.stream(ctx, o)
	}
	if errors.Is(err, ErrForbidden) {
		return nil, lockedOut{fmt.Errorf("the stream %s is not there yet, and a bench may not make it: run `lobescribe shop` on it once, with credentials that may", StreamName)}
	}
	return s, streamError(err)
}

// askPatience is for one question, also while a cluster chooses a new leader.
const askPatience = 20 * time.Second

func streamError(err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, jetstream.ErrJetStreamNotEnabled), errors.Is(err, jetstream.ErrJetStreamNotEnabledForAccount), errors.Is(err, nats.ErrNoResponders):
		return fmt.Errorf("the shop's server has no JetStream, or it is just starting: start it with -js (%w)", err)
	}
	return fmt.Errorf("asking for the stream %s: %w", StreamName, err)
}
