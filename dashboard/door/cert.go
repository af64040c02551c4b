package door

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"lobescribe/storage/textfile"
)

// A phone keeps its screen awake only for a page that came over TLS. A machine
// on a workshop's network has no name that an authority could vouch for, so it
// vouches for itself: the browser warns once, and the person compares the
// fingerprint that the daemon prints with the one the browser shows.

// Certificate is what a daemon shows over TLS.
type Certificate struct {
	TLS *tls.Config
	// Fingerprint is the SHA-256 of the certificate, in hexadecimal pairs as
	// browsers show it.
	Fingerprint string
	Until       time.Time
	Made        bool // now, and not read from the folder
}

const (
	certFile = "certificate.pem"
	keyFile  = "certificate-key.pem"
	// mostCertificate bounds a file of certificates, or of a key, in bytes.
	mostCertificate = 1 << 20
	// certAge is the longest that browsers of phones take.
	certAge = 397 * 24 * time.Hour
	// certLeft is when a new one is made, so that none runs out over a season.
	certLeft = 30 * 24 * time.Hour
)

// OwnCertificate returns the certificate kept in folder, and makes one when
// there is none, it runs out, or it does not name all of hosts (names and
// addresses of this machine; loopback is added). The key stays in the folder,
// readable by the user alone.
func OwnCertificate(folder string, hosts []string, now time.Time) (*Certificate, error) {
	hosts = slices.Concat([]string{"localhost", "127.0.0.1", "::1"}, hosts)
	c, err := ReadCertificate(filepath.Join(folder, certFile), filepath.Join(folder, keyFile))
	switch {
	case err == nil && now.Add(certLeft).Before(c.Until) && c.names(hosts):
		return c, nil
	case err != nil && !errors.Is(err, fs.ErrNotExist) && !errors.Is(err, errCertificate):
		return nil, err
	}
	certPEM, keyPEM, err := makeCertificate(hosts, now)
	if err != nil {
		return nil, fmt.Errorf("making a certificate: %w", err)
	}
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return nil, fmt.Errorf("making the folder of the certificate: %w", err)
	}
	// The key first: a certificate without its key is known to be half made.
	for _, f := range []struct {
		name string
		data []byte
	}{{keyFile, keyPEM}, {certFile, certPEM}} {
		if err := replaceFile(filepath.Join(folder, f.name), f.data); err != nil {
			return nil, fmt.Errorf("keeping the certificate: %w", err)
		}
	}
	c, err = parseCertificate(certPEM, keyPEM)
	if err != nil {
		return nil, fmt.Errorf("making a certificate: %w", err)
	}
	c.Made = true
	return c, nil
}

// errCertificate says that the files are there and are no certificate.
var errCertificate = errors.New("the certificate does not read")

// ReadCertificate reads a certificate and its key in PEM, the user's own.
func ReadCertificate(cert, key string) (*Certificate, error) {
	certPEM, err := textfile.Read(cert, mostCertificate)
	if err != nil {
		return nil, fmt.Errorf("reading the certificate: %w", err)
	}
	keyPEM, err := textfile.Read(key, mostCertificate)
	if err != nil {
		return nil, fmt.Errorf("reading the certificate's key: %w", err)
	}
	c, err := parseCertificate(certPEM, keyPEM)
	if err != nil {
		return nil, fmt.Errorf("reading %s with %s: %w", cert, key, err)
	}
	return c, nil
}

func parseCertificate(certPEM, keyPEM []byte) (*Certificate, error) {
	pair, err := tls.X509KeyPair(certPEM, keyPEM)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", errCertificate, err)
	}
	sum := sha256.Sum256(pair.Leaf.Raw)
	pairs := make([]string, len(sum))
	for i, b := range sum {
		pairs[i] = fmt.Sprintf("%02X", b)
	}
	return &Certificate{
		TLS:         &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12, CipherSuites: sealedSuites(), NextProtos: []string{"http/1.1"}},
		Fingerprint: strings.Join(pairs, ":"),
		Until:       pair.Leaf.NotAfter,
	}, nil
}

// sealedSuites are those of TLS 1.2 that encrypt and authenticate at once. Those of
// TLS 1.3 do so without being named.
func sealedSuites() (ids []uint16) {
	for _, s := range tls.CipherSuites() {
		if !strings.Contains(s.Name, "CBC") {
			ids = append(ids, s.ID)
		}
	}
	return ids
}

// names tells whether the certificate is for all of hosts.
func (c *Certificate) names(hosts []string) bool {
	leaf := c.TLS.Certificates[0].Leaf
	for _, h := range hosts {
		if leaf.VerifyHostname(h) != nil {
			return false
		}
	}
	return true
}

func makeCertificate(hosts []string, now time.Time) (certPEM, keyPEM []byte, err error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, nil, err
	}
	serial, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 127))
	if err != nil {
		return nil, nil, err
	}
	template := &x509.Certificate{
		SerialNumber: serial,
		Subject:      pkix.Name{CommonName: "Lobescribe on this bench"},
		NotBefore:    now.Add(-time.Hour), // clocks of phones differ
		NotAfter:     now.Add(certAge),
		KeyUsage:     x509.KeyUsageDigitalSignature,
		ExtKeyUsage:  []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
		// No authority: whoever trusts it trusts this one machine.
		BasicConstraintsValid: true,
	}
	for _, h := range hosts {
		if ip := net.ParseIP(h); ip != nil {
			template.IPAddresses = append(template.IPAddresses, ip)
		} else {
			template.DNSNames = append(template.DNSNames, h)
		}
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		return nil, nil, err
	}
	private, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, nil, err
	}
	return pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}),
		pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: private}), nil
}

// replaceFile puts a file in place whole or not at all.
func replaceFile(name string, data []byte) error {
	if old, err := textfile.Read(name, mostCertificate); err == nil && bytes.Equal(old, data) {
		return nil
	}
	f, err := os.CreateTemp(filepath.Dir(name), "."+filepath.Base(name)+"-*") // 0600
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // when it was not renamed
	_, err = f.Write(data)
	err = errors.Join(err, f.Sync(), f.Close())
	if err != nil {
		return err
	}
	return os.Rename(f.Name(), name)
}
