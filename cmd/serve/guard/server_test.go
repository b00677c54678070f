package guard

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"log/slog"
	"math/big"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// writePair writes a certificate of its own making.
func writePair(t *testing.T, certFile, keyFile string, serial int64) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	made := &x509.Certificate{SerialNumber: big.NewInt(serial), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), DNSNames: []string{"yard.example"}}
	der, err := x509.CreateCertificate(rand.Reader, made, made, &key.PublicKey, key)
	require.NoError(t, err)
	private, err := x509.MarshalPKCS8PrivateKey(key)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(certFile, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600))
	require.NoError(t, os.WriteFile(keyFile, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: private}), 0o600))
	later := time.Now().Add(time.Duration(serial) * time.Minute) // file systems tell times in coarse steps
	require.NoError(t, os.Chtimes(certFile, later, later))
}

func TestCertificatesAreTakenAnew(t *testing.T) {
	dir := t.TempDir()
	c := &certificate{certFile: filepath.Join(dir, "c.pem"), keyFile: filepath.Join(dir, "k.pem"), log: slog.New(slog.DiscardHandler)}
	require.Error(t, c.load())
	_, err := TLS(c.certFile, c.keyFile, c.log)
	require.Error(t, err)
	serial := func(look bool) int64 {
		if look {
			c.looked = time.Time{}
		}
		pair, err := c.get(&tls.ClientHelloInfo{})
		require.NoError(t, err)
		leaf, err := x509.ParseCertificate(pair.Certificate[0])
		require.NoError(t, err)
		return leaf.SerialNumber.Int64()
	}
	writePair(t, c.certFile, c.keyFile, 1)
	require.NoError(t, c.load())
	require.EqualValues(t, 1, serial(true))
	writePair(t, c.certFile, c.keyFile, 2)
	require.EqualValues(t, 1, serial(false), "files are looked at with every connection")
	require.EqualValues(t, 2, serial(true))
	require.NoError(t, os.WriteFile(c.certFile, []byte("half"), 0o600))
	require.EqualValues(t, 2, serial(true), "half a file ends the service")
	require.NoError(t, os.Remove(c.keyFile))
	require.EqualValues(t, 2, serial(true))
	writePair(t, c.certFile, c.keyFile, 5)
	require.EqualValues(t, 5, serial(true))
}
