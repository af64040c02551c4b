package shop

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/nats-io/nkeys"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/storage"
	"lobescribe/storage/shop/broker"
)

// exampleServer runs a server by the example configuration, with keys and a
// certificate made for this test, and returns who may come to it.
func exampleServer(t *testing.T) map[string]Server {
	t.Helper()
	dir := t.TempDir()
	certificate(t, filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem"))
	// A backslash begins an escape in a value there; Windows takes slashes as well.
	t.Setenv("SHOP_CERT", filepath.ToSlash(filepath.Join(dir, "cert.pem")))
	t.Setenv("SHOP_CERT_KEY", filepath.ToSlash(filepath.Join(dir, "key.pem")))
	t.Setenv("SHOP_STORE", filepath.ToSlash(filepath.Join(dir, "jetstream")))
	who := map[string]Server{}
	for name, variable := range map[string]string{"bench-1": "BENCH_1", "bench-2": "BENCH_2", "shop": "SHOP_PAGE", "stranger": "NOBODY"} {
		pair, err := nkeys.CreateUser()
		require.NoError(t, err)
		public, err := pair.PublicKey()
		require.NoError(t, err)
		t.Setenv(variable, public)
		seed, err := pair.Seed()
		require.NoError(t, err)
		file := filepath.Join(dir, name+".seed")
		require.NoError(t, os.WriteFile(file, seed, 0o600))
		who[name] = Server{Credentials: file, CA: filepath.Join(dir, "cert.pem")}
	}
	b := oneServer(t, broker.Options{Config: "../../testdata/shop/nats.conf"})
	for name, s := range who {
		s.URL = "tls://" + b.Addr().String()
		who[name] = s
	}
	return who
}

// certificate makes one that signs itself, for the loopback.
func certificate(t *testing.T, cert, key string) {
	t.Helper()
	pair, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	as := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "shop"}, IsCA: true, BasicConstraintsValid: true,
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}}
	der, err := x509.CreateCertificate(rand.Reader, as, as, &pair.PublicKey, pair)
	require.NoError(t, err)
	text, err := x509.MarshalPKCS8PrivateKey(pair)
	require.NoError(t, err)
	for name, block := range map[string]*pem.Block{cert: {Type: "CERTIFICATE", Bytes: der}, key: {Type: "PRIVATE KEY", Bytes: text}} {
		require.NoError(t, os.WriteFile(name, pem.EncodeToMemory(block), 0o600))
	}
}

// The permissions of the example: each bench speaks under its own name only, the
// page over the shop reads, and nobody else gets in.
func TestABenchSpeaksUnderItsOwnNameOnly(t *testing.T) {
	who := exampleServer(t)
	one := newStore(t)
	putEngine(t, one, "v8")
	record(t, one, storage.Head{Engine: "v8", Valve: "1I"}, someReadings(10))
	carryOnce := func(s *storage.Store, bench string, at Server) error {
		p := newPublisher(t, s, bench, at)
		e, ok, err := s.NextErrand()
		require.NoError(t, err)
		require.True(t, ok)
		defer func() {
			if p.link != nil {
				p.link.close()
			}
		}()
		ctx, cancel := context.WithTimeout(t.Context(), patience)
		defer cancel()
		return p.carry(ctx, e)
	}
	// A bench cannot make the stream, and says who can.
	require.ErrorContains(t, carryOnce(one, "bench-1", who["bench-1"]), "run `lobescribe shop` on it once")
	streamState(t, who["shop"], StreamOptions{})

	before, _, err := one.Waiting()
	require.NoError(t, err)
	require.ErrorIs(t, carryOnce(one, "bench-2", who["bench-1"]), ErrForbidden) // bench-1's key
	require.ErrorContains(t, carryOnce(one, "bench-1", who["stranger"]), "lets nobody in")
	unsigned := who["bench-1"]
	unsigned.CA = ""
	require.ErrorContains(t, carryOnce(one, "bench-1", unsigned), "--shop-ca")
	after, _, err := one.Waiting()
	require.NoError(t, err)
	assert.Equal(t, before, after, "what was forbidden waits")

	// Past the publisher's own manners: bench-2's inbox, with bench-1's key.
	l, err := dial(t.Context(), dialing{who["bench-1"], "bench-1", pace{}, quiet()})
	require.NoError(t, err)
	defer l.close()
	for _, subject := range []string{Prefix + "bench-2.trace." + someKey, Prefix + "bench-10.trace." + someKey, "$JS.API.STREAM.DELETE." + StreamName, "$JS.API.STREAM.PURGE." + StreamName} {
		err = l.ask(t.Context(), patience, func(ctx context.Context) error {
			_, err := l.nc.RequestWithContext(ctx, subject, []byte("{}"))
			return err
		})
		require.ErrorIs(t, err, ErrForbidden, subject)
	}

	running(t, newPublisher(t, one, "bench-1", who["bench-1"]).Run)
	two := newStore(t)
	record(t, two, storage.Head{Valve: "2I"}, someReadings(10))
	running(t, newPublisher(t, two, "bench-2", who["bench-2"]).Run)
	waitSent(t, one)
	waitSent(t, two)
	got := read(t, who["shop"])
	assert.Len(t, traces(t, got), 2)
	// The page over the shop records nothing.
	l2, err := dial(t.Context(), dialing{who["shop"], "shop", pace{}, quiet()})
	require.NoError(t, err)
	defer l2.close()
	err = l2.ask(t.Context(), patience, func(ctx context.Context) error {
		_, err := l2.js.Publish(ctx, Prefix+"shop.trace."+someKey, nil)
		return err
	})
	require.ErrorIs(t, err, ErrForbidden)
	// And a bench may go on with what another has.
	offers, err := Offers(t.Context(), FetchOptions{Store: two, Server: who["bench-2"], Bench: "bench-2"})
	require.NoError(t, err)
	assert.Len(t, offers, 1)
}
