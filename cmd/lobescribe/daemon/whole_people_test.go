package daemon

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"time"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/assert"

	"lobescribe/device/measure"
	"lobescribe/storage"
)

// What people and their pages do at a simulated bench.

const benchHost = "127.0.0.1:8417"

// ask makes one request of the page; 0 when nobody answers.
func (a *alive) ask(method, path string, body any) (status int, answer []byte) {
	var r io.Reader
	switch b := body.(type) {
	case nil:
	case []byte:
		r = bytes.NewReader(b)
	default:
		r = strings.NewReader(mustJSON(b))
	}
	q, err := http.NewRequestWithContext(a.ctx, method, "http://"+benchHost+path, r)
	if err != nil {
		return 0, nil
	}
	q.Header.Set("Origin", "http://"+benchHost)
	q.Header.Set("Content-Type", "application/json")
	res, err := a.web.Do(q)
	if err != nil {
		if a.ctx.Err() == nil {
			assert.NoError(a.t, err, "%s %s", method, path)
		}
		return 0, nil
	}
	defer res.Body.Close()
	answer, err = io.ReadAll(res.Body)
	if err != nil {
		return 0, nil
	}
	return res.StatusCode, answer
}

// said notes what somebody was told, unless the power was gone by then.
func (a *alive) said(note func()) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if !a.dead.Load() {
		note()
	}
}

func (a *alive) changeEngine() {
	id := fmt.Sprintf("e%d", a.chance.IntN(3))
	e, err := a.store.Engine(id)
	if err != nil {
		e = storage.Engine{ID: id, Cylinders: 4, ValvesPerCylinder: 2}
		if len(storage.DamagesIn(err)) > 0 {
			return
		}
	}
	e.Notes = fmt.Sprintf("note %d", a.chance.Uint32())
	a.mu.Lock()
	a.tried[id] = append(a.tried[id], e.Notes)
	a.mu.Unlock()
	method, path := http.MethodPut, "/api/v1/engines/"+id
	if e.Rev == 0 {
		method, path = http.MethodPost, "/api/v1/engines"
	}
	if status, _ := a.ask(method, path, e); status/100 == 2 {
		a.said(func() { a.engines[id], a.tried[id] = e.Notes, nil })
		a.count["engines kept"]++
	}
}

// sendTrace imports a trace file, which may break off.
func (a *alive) sendTrace() {
	n := 100 + a.chance.IntN(20_000)
	var text bytes.Buffer
	text.WriteString("t_s,lift_mm\n")
	rs := make([]measure.Reading, n)
	for i := range n {
		rs[i] = measure.Reading{At: measure.Stamp(i) * 10 * measure.Millisecond, Lift: measure.Length(i%1000) * 10 * measure.Micrometre, Has: measure.HasLift}
		fmt.Fprintf(&text, "%s,%s\n", strings.TrimSuffix(rs[i].At.String(), " s"), fmt.Sprintf("%.3f", rs[i].Lift.Millimetres()))
	}
	body := text.Bytes()
	broken := a.chance.IntN(5) == 0
	if broken {
		body = append(body[:len(body)/2], "\nnot,a,reading\n"...)
	}
	status, answer := a.ask("POST", "/api/v1/traces?name=one.csv", body)
	if broken {
		assert.NotEqual(a.t, 201, status)
		return
	}
	var made struct {
		ID storage.ID `json:"id"`
	}
	if status == http.StatusCreated && assert.NoError(a.t, json.Unmarshal(answer, &made)) {
		a.said(func() { a.imports[made.ID] = rs })
		a.count["imported"]++
	}
}

// socket opens the page's socket.
func (a *alive) socket() *websocket.Conn {
	d := websocket.Dialer{NetDialContext: a.door.dial, HandshakeTimeout: time.Minute}
	c, _, err := d.DialContext(a.ctx, "ws://"+benchHost+"/api/v1/live", http.Header{"Origin": {"http://" + benchHost}})
	if err != nil {
		if a.ctx.Err() == nil {
			assert.NoError(a.t, err, "the page's socket")
		}
		return nil
	}
	return c
}

// openPage looks on for a while; what it is shown is what the live side said.
func (a *alive) openPage() {
	for_ := someSeconds(a.chance, 20)
	a.people.Go(func() {
		c := a.socket()
		if c == nil {
			return
		}
		defer c.Close()
		end := time.Now().Add(for_)
		go func() { // a read that waits is ended by closing
			select {
			case <-time.After(time.Until(end)):
			case <-a.ctx.Done():
			}
			c.Close()
		}()
		var shown []sample
		for {
			_, text, err := c.ReadMessage()
			if err != nil {
				break
			}
			var m struct {
				At   []int64 `json:"t_us"`
				Lift []int64 `json:"lift_nm"`
			}
			if bytes.Contains(text, []byte(`"type":"readings"`)) && !bytes.Contains(text, []byte(`"replay`)) {
				if !assert.NoError(a.t, json.Unmarshal(text, &m)) {
					return
				}
				for i, at := range m.At {
					shown = append(shown, sample{at, m.Lift[i]})
				}
			}
		}
		a.mu.Lock()
		defer a.mu.Unlock()
		first := int64(math.MaxInt64)
		for _, s := range shown {
			first = min(first, s.at)
		}
		from := sort.Search(len(a.heard), func(i int) bool { return a.heard[i].at >= first })
		is := map[sample]bool{}
		for _, s := range a.heard[from:] {
			is[s] = true
		}
		for _, s := range shown {
			if !is[s] {
				a.t.Errorf("the page is shown %v, which the live side never said", s)
				return
			}
		}
		a.count["readings shown"] += len(shown)
	})
}

// stalledPage opens the socket and takes nothing: it is let go of, or dies with the
// daemon.
func (a *alive) stalledPage() {
	a.people.Go(func() {
		c := a.socket()
		if c == nil {
			return
		}
		select {
		case <-time.After(10 * time.Minute):
		case <-a.ctx.Done():
		}
		c.Close()
	})
}

// halfRequest sends the beginning of a request, and no end.
func (a *alive) halfRequest() {
	a.people.Go(func() {
		c, err := a.door.dial(a.ctx, "", "")
		if err != nil {
			return
		}
		defer c.Close()
		_ = c.SetDeadline(time.Now().Add(time.Minute))
		_, _ = io.WriteString(c, "POST /api/v1/traces HTTP/1.1\r\nHost: "+benchHost+"\r\nContent-Length: 1000000\r\n\r\nt_s,")
		asked := time.Now()
		_, err = io.Copy(io.Discard, c)
		assert.LessOrEqual(a.t, time.Since(asked), time.Minute-time.Second, "whoever sends nothing is let go of (%v)", err)
	})
}

// anyTrace returns the number of one of the stored traces.
func (a *alive) anyTrace() (storage.ID, bool) {
	list, err := a.store.Traces(storage.Query{Limit: 20})
	if err != nil || len(list) == 0 {
		return 0, false
	}
	return list[a.chance.IntN(len(list))].ID, true
}

// look asks for whatever there is to see. An answer may be that the store is hurt,
// and no other 500.
func (a *alive) look() {
	paths := []string{"/healthz", "/metrics", "/api/v1/state", "/api/v1/traces?limit=50", "/api/v1/engines", "/api/v1/bench", "/nothing"}
	if id, ok := a.anyTrace(); ok {
		for _, what := range []string{"", "/series?points=200", "/export?format=csv"} {
			paths = append(paths, "/api/v1/traces/"+id.String()+what)
		}
	}
	for _, p := range paths {
		status, text := a.ask("GET", p, nil)
		if status == 500 {
			assert.True(a.t, a.hurt && strings.Contains(string(text), "damaged"), "%s: %s", p, text)
		}
	}
	ctx, cancel := context.WithTimeout(a.ctx, 10*time.Second)
	defer cancel()
	if err := a.daemon.Answers(ctx); a.ctx.Err() == nil {
		assert.NoError(a.t, err)
	}
}

// backup takes one through the page, and sees that it is whole.
func (a *alive) backup() {
	promised := a.promises()
	status, body := a.ask("GET", "/api/v1/backup", nil)
	if status != 200 || len(body) == 0 {
		return
	}
	name := filepath.Join(a.dir, "backup")
	a.saved = nil
	if !assert.NoError(a.t, os.WriteFile(name, body, 0o600)) {
		return
	}
	copied, err := storage.Open(name, storage.Options{ReadOnly: true})
	if !assert.NoError(a.t, err) {
		return
	}
	defer copied.Close()
	rep, err := copied.Verify(a.ctx)
	repairs, failed := copied.Repairs(false)
	assert.NoError(a.t, failed)
	if a.ctx.Err() == nil && !a.hurt && len(repairs) == 0 { // what was lost in an earlier life stays a hole
		assert.NoError(a.t, err)
		assert.True(a.t, rep.Whole(), rep.String())
		a.count["backups whole"]++
		a.saved = promised
	}
}

var _ net.Listener = (*pipes)(nil)
