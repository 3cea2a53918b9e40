package field

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/broker/realbroker"
)

// authority signs certificates for a test.
type authority struct {
	t    *testing.T
	dir  string
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
	path string
}

func newAuthority(t *testing.T, name string) *authority {
	t.Helper()
	a := &authority{t: t, dir: t.TempDir()}
	a.key = a.newKey()
	now := time.Now()
	a.cert = &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: name},
		NotBefore: now.Add(-48 * time.Hour), NotAfter: now.Add(48 * time.Hour),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, a.cert, a.cert, &a.key.PublicKey, a.key)
	require.NoError(t, err)
	a.path = a.write("ca.pem", "CERTIFICATE", der)
	return a
}

func (a *authority) newKey() *ecdsa.PrivateKey {
	a.t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(a.t, err)
	return key
}

func (a *authority) write(name, kind string, der []byte) string {
	a.t.Helper()
	path := filepath.Join(a.dir, name)
	require.NoError(a.t, os.WriteFile(path, pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: der}), 0o600))
	return path
}

// issue gives the files of a certificate for a host, valid until a time from now.
func (a *authority) issue(host string, ip net.IP, until time.Duration) (cert, key string) {
	a.t.Helper()
	private := a.newKey()
	c := &x509.Certificate{
		SerialNumber: big.NewInt(2), Subject: pkix.Name{CommonName: host},
		NotBefore: time.Now().Add(-24 * time.Hour), NotAfter: time.Now().Add(until),
		KeyUsage:    x509.KeyUsageDigitalSignature,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth},
	}
	if ip != nil {
		c.IPAddresses = []net.IP{ip}
	} else {
		c.DNSNames = []string{host}
	}
	der, err := x509.CreateCertificate(rand.Reader, c, a.cert, &private.PublicKey, a.key)
	require.NoError(a.t, err)
	secret, err := x509.MarshalPKCS8PrivateKey(private)
	require.NoError(a.t, err)
	return a.write(host+".pem", "CERTIFICATE", der), a.write(host+".key", "PRIVATE KEY", secret)
}

func TestTLS(t *testing.T) {
	ours, theirs := newAuthority(t, "ours"), newAuthority(t, "theirs")
	loopback := net.IPv4(127, 0, 0, 1)
	good, goodKey := ours.issue("broker", loopback, 24*time.Hour)
	old, oldKey := ours.issue("old", loopback, -time.Hour)
	other, otherKey := ours.issue("elsewhere.example", nil, 24*time.Hour)
	client, clientKey := ours.issue("gateway", loopback, 24*time.Hour)
	for name, c := range map[string]struct {
		cert, key, extra string
		files            TLSFiles
		why              string // "" = it connects
	}{
		"a good certificate":     {good, goodKey, "", TLSFiles{CA: ours.path}, ""},
		"a certificate of ours":  {good, goodKey, "require_certificate true\n", TLSFiles{ours.path, client, clientKey}, ""},
		"none where one is due":  {good, goodKey, "require_certificate true\n", TLSFiles{CA: ours.path}, "connect"},
		"another authority":      {good, goodKey, "", TLSFiles{CA: theirs.path}, "unknown authority"},
		"an expired certificate": {old, oldKey, "", TLSFiles{CA: ours.path}, "this machine's clock says " + time.Now().Format("2006")},
		"another host's":         {other, otherKey, "", TLSFiles{CA: ours.path}, "check the broker's certificate"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Setenv("ALL_PROXY", "socks5://127.0.0.1:1")
			t.Setenv("all_proxy", "socks5://127.0.0.1:1")
			b := realbroker.Start(t, realbroker.Options{
				Extra: fmt.Sprintf("cafile %s\ncertfile %s\nkeyfile %s\n%s", ours.path, c.cert, c.key, c.extra),
			})
			cfg := config(strings.Replace(b.URL(), "mqtt://", "mqtts://", 1))
			cfg.TLS = c.files
			l := dial(t, cfg)
			if c.why == "" {
				waitUp(t, l)
				return
			}
			require.Eventually(t, func() bool {
				up, why := l.Up()
				return !up && strings.Contains(why, c.why)
			}, soon, often)
		})
	}
}

func TestTLSAgainstAPlainBroker(t *testing.T) {
	b := realbroker.Start(t, realbroker.Options{})
	cfg := config(strings.Replace(b.URL(), "mqtt://", "mqtts://", 1))
	cfg.TLS.CA = newAuthority(t, "ours").path
	l := dial(t, cfg)
	require.Eventually(t, func() bool {
		_, why := l.Up()
		return strings.Contains(why, "check the broker's certificate")
	}, soon, often)
}
