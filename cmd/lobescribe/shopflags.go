package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"

	"github.com/spf13/pflag"

	"lobescribe/dashboard"
	"lobescribe/storage"
	"lobescribe/storage/shop"
)

// shopFlags say where a shop's server is, and how to get in.
type shopFlags struct {
	url, creds, ca string
	bench          string
}

func (f *shopFlags) add(flags *pflag.FlagSet) {
	flags.StringVar(&f.url, "shop", "", "the shop's NATS server, as in nats://10.0.0.7:4222 or tls://…; several with commas")
	flags.StringVar(&f.creds, "shop-creds", "", "file that lets us in there: a .creds file, or an nkey's seed")
	flags.StringVar(&f.ca, "shop-ca", "", "PEM file with who signed its certificate (default: whom the system trusts)")
	readsFile(flags, "shop-creds", "creds", "seed")
	readsFile(flags, "shop-ca", "pem", "crt")
}

func (f *shopFlags) addBench(flags *pflag.FlagSet) {
	flags.StringVar(&f.bench, "bench", "", "this bench's name in the shop (default: the one it joined under, or the machine's)")
}

// server checks the words.
func (f *shopFlags) server() (shop.Server, error) {
	s := shop.Server{URL: f.url, Credentials: f.creds, CA: f.ca}
	if f.url == "" {
		return s, wrongWords("name the shop's server: --shop nats://HOST:4222 (`lobescribe shop --embedded` runs one)")
	}
	if err := s.CheckFiles(); err != nil {
		return s, wordsError{err}
	}
	return s, nil
}

// unused says which word makes no sense without --shop.
func (f *shopFlags) unused() error {
	for name, value := range map[string]string{"bench": f.bench, "shop-creds": f.creds, "shop-ca": f.ca} {
		if value != "" {
			return wrongWords("--%s is of no use without --shop nats://HOST:4222", name)
		}
	}
	return nil
}

// benchName returns what a store's bench is called in the shop.
func (f *shopFlags) benchName(store *storage.Store) (string, error) {
	if f.bench != "" {
		if err := shop.CheckBench(f.bench); err != nil {
			return "", wordsError{fmt.Errorf("--bench: %w", err)}
		}
		return f.bench, nil
	}
	self, joined, err := store.ShopSelf()
	if err != nil || joined {
		return self.Bench, err
	}
	host, err := os.Hostname()
	if err != nil {
		return "", wrongWords("name this bench with --bench, as in --bench stand-1")
	}
	return shop.BenchFor(host), nil
}

// joined is a bench that tells a shop what it records.
type joined struct {
	store     *storage.Store
	server    shop.Server
	bench     string
	log       *slog.Logger
	publisher *shop.Publisher
}

// join makes a store's bench one of the shop; nil without --shop.
func (f *shopFlags) join(store *storage.Store, log *slog.Logger) (*joined, error) {
	if f.url == "" {
		return nil, f.unused()
	}
	j := &joined{store: store, log: log}
	var err error
	if j.server, err = f.server(); err != nil {
		return nil, err
	}
	if j.bench, err = f.benchName(store); err != nil {
		return nil, err
	}
	j.publisher, err = shop.NewPublisher(shop.PublisherOptions{Store: store, Server: j.server, Bench: j.bench, Log: log})
	return j, err
}

func (j *joined) options() shop.FetchOptions {
	return shop.FetchOptions{Store: j.store, Server: j.server, Bench: j.bench, Log: j.log}
}

// telling is what the page is given of it; nil for a bench that tells no shop.
func (j *joined) telling() *dashboard.Telling {
	if j == nil {
		return nil
	}
	return &dashboard.Telling{
		Outbox: j.publisher.State,
		Offers: func(ctx context.Context) ([]shop.Offer, error) { return shop.Offers(ctx, j.options()) },
		Fetch: func(ctx context.Context, r shop.Ref) (shop.Fetched, error) {
			return shop.Fetch(ctx, j.options(), r)
		},
	}
}

// tells returns what tells the shop; nil without a shop.
func (j *joined) tells() *shop.Publisher {
	if j == nil {
		return nil
	}
	return j.publisher
}

// errRecord keeps whoever records away from the record of a shop.
var errRecord = errors.New("this folder is the record of a shop, which is made of what its benches tell and of nothing else: name another folder with --data, or look at it with `lobescribe shop`")
