package main

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"strings"
	"time"

	sdnotify "github.com/coreos/go-systemd/v22/daemon"

	"lobescribe/capture/keep"
	"lobescribe/cmd/lobescribe/daemon"
	"lobescribe/dashboard"
	"lobescribe/dashboard/live"
)

// A service manager (systemd, or whatever speaks its sd_notify protocol) is told
// when the daemon is ready, how it stands, and that it is still there. Without
// NOTIFY_SOCKET nobody asked and nothing is done.

// statusEvery is how often the line that the service manager shows is looked at
// again; it is sent when it changed.
const statusEvery = time.Second

// serviceNotes tells the service manager about one daemon.
type serviceNotes struct {
	// send passes a message on; false when there is no service manager.
	send func(message string) (bool, error)
	// patience is the watchdog's; 0 when there is none.
	patience time.Duration
	// ready waits until whatever makes the daemon ready is there.
	ready func(context.Context) error
	// answers asks the part that must never hang.
	answers func(context.Context) error
	// says is the status line.
	says func() string
	log  *slog.Logger
}

// sdNotes returns what the environment asks for; false when nothing listens.
func sdNotes(log *slog.Logger) (serviceNotes, bool) {
	n := serviceNotes{log: log, send: func(m string) (bool, error) { return sdnotify.SdNotify(false, m) }}
	var err error
	if n.patience, err = sdnotify.SdWatchdogEnabled(false); err != nil {
		log.Warn("watchdog left out", "error", err)
	}
	told, err := n.send("STATUS=Starting")
	if err != nil {
		log.Warn("service manager not told", "error", err)
	}
	return n, told
}

// run tells until ctx is done, and then that the daemon is stopping.
func (n serviceNotes) run(ctx context.Context) {
	defer n.tell(sdnotify.SdNotifyStopping + "\nSTATUS=Ending: writing what was recorded")
	if n.ready(ctx) != nil {
		return // it was stopped before it was ready
	}
	shown := n.says()
	n.tell(sdnotify.SdNotifyReady + "\nSTATUS=" + shown)
	every := statusEvery
	if n.patience > 0 {
		every = min(every, n.patience/4)
	}
	tick := time.NewTicker(every)
	defer tick.Stop()
	var next time.Time // of the watchdog
	for {
		if n.patience > 0 && !time.Now().Before(next) {
			next = time.Now().Add(n.patience / 4)
			n.ping(ctx)
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		if now := n.says(); now != shown {
			shown = now
			n.tell("STATUS=" + now)
		}
	}
}

// ping feeds the watchdog if the live side answers. One that does not in a
// quarter of the watchdog's patience is asked again; when the patience is over
// the service manager ends this process and starts another. A slow disk or a
// lost device is no reason for that: a new process would not mend it.
func (n serviceNotes) ping(ctx context.Context) {
	asking, cancel := context.WithTimeout(ctx, n.patience/4)
	defer cancel()
	if err := n.answers(asking); err != nil {
		if ctx.Err() == nil {
			n.log.Error("watchdog not fed", "error", err)
		}
		return
	}
	n.tell(sdnotify.SdNotifyWatchdog)
}

func (n serviceNotes) tell(message string) {
	if _, err := n.send(message); err != nil {
		n.log.Warn("service manager not told", "error", err)
	}
}

// statusLine puts how it stands into the line that a service manager shows.
func statusLine(url string, now live.Hello) string {
	parts := []string{"Page at " + url}
	for _, d := range now.Devices {
		parts = append(parts, d.ID+" "+d.State)
	}
	if len(now.Devices) == 0 {
		parts = append(parts, "no device chosen")
	}
	if t := now.Trace; t != nil {
		switch t.State {
		case keep.StateRecording:
			parts = append(parts, fmt.Sprintf("recording trace %d", t.ID))
		case keep.StateBehind:
			parts = append(parts, "the disk refuses, readings wait in memory")
		case keep.StateFailed:
			parts = append(parts, "READINGS ARE BEING LOST: "+t.Says)
		}
	}
	if len(now.Repairs) > 0 {
		parts = append(parts, "the store was repaired, see the page for what is lost")
	}
	return strings.Join(parts, "; ")
}

// pageAnswers waits until the page of this very process has answered, asked as
// a browser on this machine would.
func pageAnswers(url string, o dashboard.Options) func(context.Context) error {
	transport := &http.Transport{DisableKeepAlives: true}
	if o.TLS != nil {
		ours := o.TLS.Certificates[0]
		transport.TLSClientConfig = &tls.Config{
			// The certificate need not name this machine as it names itself:
			// that it is the very one we serve is asked for instead.
			InsecureSkipVerify: true,
			VerifyPeerCertificate: func(raw [][]byte, _ [][]*x509.Certificate) error {
				if len(raw) == 0 || string(raw[0]) != string(ours.Certificate[0]) {
					return errors.New("somebody else answers at the page's address")
				}
				return nil
			},
		}
	}
	client := &http.Client{Transport: transport, Timeout: 10 * time.Second}
	return func(ctx context.Context) error {
		for {
			q, err := http.NewRequestWithContext(ctx, http.MethodGet, url+"api/v1/state", nil)
			if err != nil {
				return err
			}
			if o.LAN {
				q.Header.Set("Authorization", "Bearer "+o.Key.Reveal())
			}
			if r, err := client.Do(q); err == nil {
				r.Body.Close()
				if r.StatusCode == http.StatusOK {
					return nil
				}
			}
			select {
			case <-ctx.Done():
				return ctx.Err()
			case <-time.After(50 * time.Millisecond):
			}
		}
	}
}

// tellService tells the service manager, if there is one, until ctx is done.
func tellService(ctx context.Context, d *daemon.Daemon, hub *live.Hub, url string, o dashboard.Options) {
	n, told := sdNotes(o.Log)
	if !told {
		return
	}
	n.ready = pageAnswers(url, o)
	n.answers = d.Answers
	n.says = func() string { return statusLine(url, hub.Now()) }
	d.Go(func() { n.run(ctx) })
}
