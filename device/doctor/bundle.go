package doctor

import (
	"encoding/json"
	"fmt"
	"io"
	"net"
	"strings"

	"lobescribe/device/bytelog"
	"lobescribe/device/measure"
)

// Report is what a bundle tells besides the bytes.
type Report struct {
	Version  string    `json:"version"`
	System   string    `json:"system"` // as "linux amd64"
	Findings []Finding `json:"findings"`
	// Configuration is how the program was started, without keys or names of
	// people. Whoever fills it in leaves them out.
	Configuration map[string]string `json:"configuration,omitempty"`
}

// WriteBundle writes a report that may be given away, as plain text, so that
// whoever sends it can read first what it tells: the findings, how each link
// stands, its counters, and the last bytes received, as a recording. Serial
// numbers and names of hosts are left out.
func WriteBundle(w io.Writer, r Report, links []Link) error {
	secrets := strings.NewReplacer(secretsOf(links)...)
	section := func(title string, v any) error {
		b, err := json.MarshalIndent(v, "", "  ")
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(w, "== %s ==\n%s\n\n", title, secrets.Replace(string(b)))
		return err
	}
	if err := section("report", r); err != nil {
		return fmt.Errorf("write the bundle: %w", err)
	}
	for i, l := range links {
		if err := section(fmt.Sprintf("link %d: %s", i+1, l.Address.Redacted()), struct {
			Status        any
			Counters      any
			LatencyTimerS measure.Stamp `json:"latency_timer_s"`
		}{l.Status, l.Counters, l.LatencyTimer}); err != nil {
			return fmt.Errorf("write the bundle: %w", err)
		}
		if _, err := fmt.Fprintf(w, "== last bytes of link %d ==\n", i+1); err != nil {
			return fmt.Errorf("write the bundle: %w", err)
		}
		rec := bytelog.NewWriter(w, l.Address.Redacted())
		for _, c := range l.Raw {
			if err := rec.Bytes(c.At, c.Bytes); err != nil {
				return err
			}
		}
		if err := rec.Flush(); err != nil {
			return err
		}
		if _, err := fmt.Fprintln(w); err != nil {
			return fmt.Errorf("write the bundle: %w", err)
		}
	}
	return nil
}

// secretsOf lists what is to be left out, with what stands in its place.
func secretsOf(links []Link) (pairs []string) {
	for _, l := range links {
		if s := l.Address.USB.Serial; s != "" {
			pairs = append(pairs, s, "XXXX")
		}
		if host, _, err := net.SplitHostPort(l.Address.Host); err == nil {
			pairs = append(pairs, l.Address.Host, "host", host, "host")
		}
	}
	return pairs
}
