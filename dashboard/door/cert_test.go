package door_test

import (
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/dashboard/door"
)

func TestOwnCertificate(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "tls")
	now := time.Now()
	hosts := []string{"192.168.1.5", "bench.local"}
	c, err := door.OwnCertificate(folder, hosts, now)
	require.NoError(t, err)
	assert.True(t, c.Made)

	again, err := door.OwnCertificate(folder, hosts, now.Add(300*24*time.Hour))
	require.NoError(t, err)
	assert.False(t, again.Made)
	assert.Equal(t, c.Fingerprint, again.Fingerprint, "a phone that was told to trust it goes on doing so")

	if runtime.GOOS != "windows" { // which has no such permissions
		info, err := os.Stat(filepath.Join(folder, "certificate-key.pem"))
		require.NoError(t, err)
		assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	}
	elsewhere, err := door.OwnCertificate(folder, []string{"192.168.1.77"}, now)
	require.NoError(t, err)
	assert.True(t, elsewhere.Made, "the machine has another address today")
	later, err := door.OwnCertificate(folder, []string{"192.168.1.77"}, now.Add(380*24*time.Hour))
	require.NoError(t, err)
	assert.True(t, later.Made, "the old one is about to run out")

	require.NoError(t, os.WriteFile(filepath.Join(folder, "certificate.pem"), []byte("half"), 0o600))
	mended, err := door.OwnCertificate(folder, nil, now)
	require.NoError(t, err)
	assert.True(t, mended.Made)
}

// A client that trusts this certificate, and no other, gets through by every
// name; the fingerprint is that of what it was shown.
func TestOwnCertificateServes(t *testing.T) {
	c, err := door.OwnCertificate(t.TempDir(), []string{"bench.local"}, time.Now())
	require.NoError(t, err)
	s := httptest.NewUnstartedServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { fmt.Fprint(w, "inside") }))
	s.TLS = c.TLS
	s.StartTLS()
	defer s.Close()
	leaf := c.TLS.Certificates[0].Leaf
	roots := x509.NewCertPool()
	roots.AddCert(leaf)
	for _, name := range []string{"127.0.0.1", "localhost", "bench.local"} {
		conn, err := tls.Dial("tcp", strings.TrimPrefix(s.URL, "https://"), &tls.Config{RootCAs: roots, ServerName: name})
		require.NoError(t, err, name)
		shown := sha256.Sum256(conn.ConnectionState().PeerCertificates[0].Raw)
		assert.Equal(t, strings.ReplaceAll(c.Fingerprint, ":", ""), fmt.Sprintf("%X", shown))
		conn.Close()
	}
	_, err = tls.Dial("tcp", strings.TrimPrefix(s.URL, "https://"), &tls.Config{RootCAs: roots, ServerName: "evil.example"})
	require.Error(t, err)
	// Of TLS 1.2 it takes what seals and encrypts at once, and nothing in blocks chained.
	with := func(suites ...uint16) error {
		conn, err := tls.Dial("tcp", strings.TrimPrefix(s.URL, "https://"), &tls.Config{RootCAs: roots, ServerName: "localhost", MaxVersion: tls.VersionTLS12, CipherSuites: suites})
		if err == nil {
			conn.Close()
		}
		return err
	}
	require.NoError(t, with(tls.TLS_ECDHE_ECDSA_WITH_AES_128_GCM_SHA256, tls.TLS_ECDHE_RSA_WITH_AES_128_GCM_SHA256))
	require.Error(t, with(tls.TLS_ECDHE_ECDSA_WITH_AES_128_CBC_SHA, tls.TLS_ECDHE_RSA_WITH_AES_128_CBC_SHA,
		tls.TLS_ECDHE_ECDSA_WITH_AES_256_CBC_SHA, tls.TLS_ECDHE_RSA_WITH_AES_256_CBC_SHA))
}

func TestReadCertificate(t *testing.T) {
	folder := t.TempDir()
	made, err := door.OwnCertificate(folder, nil, time.Now())
	require.NoError(t, err)
	cert, key := filepath.Join(folder, "certificate.pem"), filepath.Join(folder, "certificate-key.pem")
	read, err := door.ReadCertificate(cert, key)
	require.NoError(t, err)
	assert.Equal(t, made.Fingerprint, read.Fingerprint)
	_, err = door.ReadCertificate(filepath.Join(folder, "none.pem"), key)
	require.ErrorIs(t, err, os.ErrNotExist)
	_, err = door.ReadCertificate(cert, cert)
	require.Error(t, err)
}
