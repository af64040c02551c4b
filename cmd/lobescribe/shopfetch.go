package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"lobescribe/device/measure"
	"lobescribe/storage"
	"lobescribe/storage/shop"
)

func newShopEngines(at *shopFlags) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "engines",
		Short: "List the engines that the shop knows, for a bench that wants to go on with one",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			d, list, err := openOffers(cmd, at)
			if err != nil {
				return err
			}
			defer d.close()
			return p.print(list, func(w io.Writer, _ measure.Unit) error { return tableOffers(w, list) })
		},
	}
	at.addBench(cmd.Flags())
	addJSONFlag(cmd)
	return cmd
}

func newShopFetch(at *shopFlags) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "fetch ENGINE",
		Short: "Bring an engine of another bench here, with its trials and traces, to go on with it",
		Long: `Brings an engine from the shop into this bench's store: its card, trials, work sheets
and traces. What is here already is brought up to date; what was changed here and
not told yet stays as it is. Run it again for what came since. A daemon that runs
on this store does the fetching itself.

ENGINE is as "lobescribe shop engines" lists it: its name, or BENCH/NAME where
several benches have one of that name.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			d, list, err := openOffers(cmd, at)
			if err != nil {
				return err
			}
			defer d.close()
			offer, err := chooseOffer(list, args[0])
			if err != nil {
				return err
			}
			got, err := d.fetch(cmd, offer.Ref)
			if err != nil {
				return err
			}
			return p.print(got, func(w io.Writer, _ measure.Unit) error {
				fmt.Fprintf(w, "%s is here now as %q: %d new traces, %d documents brought up to date\n", args[0], got.Engine, got.Traces, got.Documents)
				if got.Kept > 0 {
					fmt.Fprintf(w, "%d were changed here and are not told yet: they stay as they are here\n", got.Kept)
				}
				if got.Refused > 0 {
					fmt.Fprintf(w, "%d messages of the stream cannot be right and were passed over\n", got.Refused)
				}
				return nil
			})
		},
	}
	at.addBench(cmd.Flags())
	addJSONFlag(cmd)
	return cmd
}

// openOffers opens the way to the shop, and asks what it offers. Close it, unless there
// is an error.
func openOffers(cmd *cobra.Command, at *shopFlags) (*dealings, []shop.Offer, error) {
	d, err := openDealings(cmd, at)
	if err != nil {
		return nil, nil, err
	}
	list, err := d.offers(cmd)
	if err != nil {
		d.close()
		return nil, nil, err
	}
	return d, list, nil
}

// chooseOffer finds the engine that a person named.
func chooseOffer(list []shop.Offer, name string) (shop.Offer, error) {
	var found []shop.Offer
	for _, o := range list {
		if name == o.Ref.Name || name == o.Bench+"/"+o.Ref.Name || name == o.Ref.String() {
			found = append(found, o)
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return shop.Offer{}, wrongWords("the shop knows no engine %q: `lobescribe shop engines` lists them", name)
	}
	var names []string
	for _, o := range found {
		one := o.Bench + "/" + o.Ref.Name
		if one == name {
			one = o.Ref.String()
		}
		names = append(names, one)
	}
	return shop.Offer{}, wrongWords("there are %d engines %q in the shop: say which, %s", len(found), name, strings.Join(names, " or "))
}

func tableOffers(w io.Writer, list []shop.Offer) error {
	if len(list) == 0 {
		_, err := fmt.Fprintln(w, "the shop knows no engine yet: a bench tells of its engines with `lobescribe serve --shop …`")
		return err
	}
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(t, "engine\tbench\tname\ttype\tlast heard of\there as\t")
	for _, o := range list {
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\t\n", o.Ref.Name, o.Bench, dash(o.Name), dash(o.Type),
			o.Last.Local().Format("2006-01-02 15:04"), dash(o.Local))
	}
	return t.Flush()
}

// dealings are with the shop: by this process, or by the daemon that has the
// store open.
type dealings struct {
	store  *storage.Store // nil when the daemon deals
	o      shop.FetchOptions
	daemon *remote
}

func openDealings(cmd *cobra.Command, at *shopFlags) (*dealings, error) {
	store, err := openStore(cmd, storage.Options{})
	if errors.Is(err, storage.ErrInUse) {
		if r, ok := askDaemon(cmd); ok {
			r.http.Timeout = 0 // years of traces take their time
			return &dealings{daemon: r}, nil
		}
	}
	if err != nil {
		return nil, err
	}
	d := &dealings{store: store}
	server, err := at.server()
	if err == nil {
		var bench string
		bench, err = at.benchName(store)
		d.o = shop.FetchOptions{Store: store, Server: server, Bench: bench, Log: logger(cmd)}
	}
	if err != nil {
		d.close()
		return nil, err
	}
	return d, nil
}

func (d *dealings) close() {
	if d.store != nil {
		_ = d.store.Close() // what was taken in is on disk
	}
}

func (d *dealings) offers(cmd *cobra.Command) ([]shop.Offer, error) {
	if d.daemon == nil {
		return shop.Offers(cmd.Context(), d.o)
	}
	var list []shop.Offer
	return list, d.daemon.decode("shop/engines", &list)
}

func (d *dealings) fetch(cmd *cobra.Command, r shop.Ref) (got shop.Fetched, err error) {
	if d.daemon == nil {
		return shop.Fetch(cmd.Context(), d.o, r)
	}
	return got, d.daemon.ask(cmd, "shop/engines", r, &got)
}

// ask sends a body to the daemon that has the store open.
func (r *remote) ask(cmd *cobra.Command, path string, body, v any) error {
	text, err := json.Marshal(body)
	if err != nil {
		return err
	}
	q, err := http.NewRequestWithContext(cmd.Context(), http.MethodPost, r.base+path, bytes.NewReader(text))
	if err != nil {
		return err
	}
	q.Header.Set("Content-Type", "application/json")
	answer, err := r.http.Do(q)
	if err != nil {
		return fmt.Errorf("asking the daemon that has the store open: %w", err)
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		return saidInstead(answer)
	}
	if err := json.NewDecoder(answer.Body).Decode(v); err != nil {
		return fmt.Errorf("reading the daemon's answer: %w", err)
	}
	return nil
}
