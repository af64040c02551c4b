package dashboard

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"sort"
	"strings"
	"time"

	"lobescribe/dashboard/sheet"
	"lobescribe/storage"
	"lobescribe/storage/shop"
)

// Telling is what a bench that tells a shop what it records gives the page.
type Telling struct {
	// Outbox returns how the telling stands.
	Outbox func() (shop.State, error)
	// Offers lists the engines that the shop knows, and Fetch brings one of them
	// here, to go on with.
	Offers func(context.Context) ([]shop.Offer, error)
	Fetch  func(context.Context, shop.Ref) (shop.Fetched, error)
}

// What a daemon has to do with a shop, as hello tells it.
const (
	ShopBench  = "bench"  // it tells a shop what it records
	ShopRecord = "record" // it shows a shop's record, and changes nothing
)

// shopRole returns what this daemon has to do with a shop; "" for nothing.
func (o Options) shopRole() string {
	switch {
	case o.Record != nil:
		return ShopRecord
	case o.Telling != nil:
		return ShopBench
	}
	return ""
}

// onlyShows answers whatever would change something, on the page over a shop:
// its record is made of what the benches say and of nothing else.
func onlyShows(http.ResponseWriter, *http.Request) error {
	return &problem{status: http.StatusForbidden,
		says: "This page only shows what the benches of the shop recorded. Change it on the bench that recorded it: it comes here by itself."}
}

// shopNow is how a daemon stands with its shop.
type shopNow struct {
	Role   string      `json:"role"` // ShopBench or ShopRecord
	Outbox *shop.State `json:"outbox,omitempty"`

	Reader  *shop.ReaderState `json:"reader,omitempty"`
	Benches []shop.BenchEntry `json:"benches,omitempty"`
	Engines []shopEngine      `json:"engines,omitempty"`
	Refused *shop.Refusals    `json:"refused,omitempty"`
}

// shopEngine is an engine of a shop's record.
type shopEngine struct {
	ID   string `json:"id"`
	Name string `json:"name,omitempty"`
	Type string `json:"type,omitempty"`
	// Benches had to do with it, the one where it was made first.
	Benches []string  `json:"benches"`
	Last    time.Time `json:"last"` // when the shop heard of it last
	// Card is false for one that traces name and nobody wrote down, or that was
	// taken off the list.
	Card     bool `json:"card"`
	Valves   int  `json:"valves"`
	Measured int  `json:"measured"` // valves with a max lift
	Traces   int  `json:"traces"`
}

func (s *Server) showShop(w http.ResponseWriter, r *http.Request) error {
	now := shopNow{Role: s.o.shopRole()}
	switch now.Role {
	case ShopBench:
		st, err := s.o.Telling.Outbox()
		if err != nil {
			return err
		}
		now.Outbox = &st
	case ShopRecord:
		done, err := s.alone(r.Context())
		if err != nil {
			return err
		}
		defer done()
		if err := s.recordNow(&now); err != nil {
			return err
		}
	default:
		return fmt.Errorf("a shop: %w; `lobescribe serve --shop nats://…` tells one, `lobescribe shop` shows one", ErrNotOffered)
	}
	answer(w, http.StatusOK, now)
	return nil
}

func (s *Server) recordNow(now *shopNow) error {
	st := s.o.Record()
	refused, err := shop.ReadRefusals(s.store)
	if err != nil {
		return err
	}
	now.Reader, now.Refused = &st, &refused
	if now.Benches, err = shop.Benches(s.store); err != nil {
		return err
	}
	now.Engines, err = s.shopEngines()
	return err
}

// shopEngines lists the engines of the record by name.
func (s *Server) shopEngines() ([]shopEngine, error) {
	entries, err := shop.EngineEntries(s.store)
	if err != nil {
		return nil, err
	}
	cards, err := s.store.Engines()
	if err != nil && sheet.Damaged(err) == nil {
		return nil, err
	}
	traces, err := s.store.Traces(storage.Query{})
	if err != nil {
		return nil, err
	}
	count, measured := map[string]int{}, map[string]map[string]bool{}
	for _, t := range traces {
		count[t.Engine]++
		if t.MaxLift != nil && t.Valve != "" {
			if measured[t.Engine] == nil {
				measured[t.Engine] = map[string]bool{}
			}
			measured[t.Engine][t.Valve] = true
		}
	}
	list := []shopEngine{}
	add := func(e shopEngine) {
		entry := entries[e.ID]
		delete(entries, e.ID)
		if e.Benches = entry.Benches; e.Benches == nil {
			e.Benches = []string{}
		}
		e.Last, e.Traces, e.Measured = entry.Last, count[e.ID], len(measured[e.ID])
		list = append(list, e)
	}
	for _, c := range cards {
		add(shopEngine{ID: c.ID, Name: c.Name, Type: strings.TrimSpace(c.Type), Card: true, Valves: len(c.Valves())})
	}
	for id := range entries {
		if count[id] > 0 {
			add(shopEngine{ID: id})
		}
	}
	sort.Slice(list, func(i, k int) bool { return list[i].ID < list[k].ID })
	return list, nil
}

// telling returns what a bench tells a shop with.
func (s *Server) telling() (*Telling, error) {
	if s.o.Telling == nil {
		return nil, fmt.Errorf("going on with another bench's engine: %w; start it with --shop nats://…", ErrNotOffered)
	}
	return s.o.Telling, nil
}

// offerWait is how long the shop may take to say which engines it has.
const offerWait = 20 * time.Second

func (s *Server) listOffers(w http.ResponseWriter, r *http.Request) error {
	t, err := s.telling()
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(r.Context(), offerWait)
	defer cancel()
	list, err := t.Offers(ctx)
	if err != nil {
		return shopAway(err)
	}
	answer(w, http.StatusOK, list)
	return nil
}

func (s *Server) fetchEngine(w http.ResponseWriter, r *http.Request) error {
	t, err := s.telling()
	if err != nil {
		return err
	}
	var ref shop.Ref
	if err := read(w, r, &ref); err != nil {
		return err
	}
	if ref.Origin == "" || ref.Name == "" {
		return wrong("name", "Which engine? Send origin and name as the list of the shop's engines has them.")
	}
	done, err := s.alone(r.Context())
	if err != nil {
		return err
	}
	defer done()
	// Years of traces take their time, and the daemon goes on meanwhile.
	rc := http.NewResponseController(w)
	_ = rc.SetWriteDeadline(time.Now().Add(s.o.BackupWait))
	got, err := t.Fetch(r.Context(), ref)
	if err != nil {
		return shopAway(err)
	}
	answer(w, http.StatusOK, got)
	return nil
}

// shopAway says that the shop did not answer, in its own words. What the store
// says stays what it is.
func shopAway(err error) error {
	var hurt *storage.Damage
	if errors.As(err, &hurt) || errors.Is(err, storage.ErrReadOnly) {
		return err
	}
	return &problem{status: http.StatusBadGateway, says: sentence(err)}
}

// shopNotes tells whoever watches the daemon how it stands with its shop. It is
// no fault: a bench works offline for weeks.
func (s *Server) shopNotes() []string {
	switch s.o.shopRole() {
	case ShopBench:
		st, err := s.o.Telling.Outbox()
		if err != nil {
			return []string{"shop: the outbox does not read: " + err.Error()}
		}
		return []string{outboxWords(st)}
	case ShopRecord:
		st := s.o.Record()
		says := fmt.Sprintf("shop: %d messages applied, %d behind", st.Applied, st.Behind)
		if !st.Connected {
			says += ", not connected"
		}
		return []string{says}
	}
	return nil
}

// outboxWords puts how the telling stands into a line, without saying where the
// shop is.
func outboxWords(st shop.State) string {
	says := fmt.Sprintf("shop: %d waiting", st.Waiting)
	if n := len(st.Aside); n > 0 {
		says += fmt.Sprintf(", %d set aside", n)
	}
	switch {
	case st.Connected:
		says += ", connected"
	case st.CutOff != nil:
		says += ", cut off since " + st.CutOff.UTC().Format(time.RFC3339)
	default:
		says += ", not connected yet"
	}
	if st.Last != nil {
		says += ", last sent " + st.Last.UTC().Format(time.RFC3339)
	}
	return says
}
