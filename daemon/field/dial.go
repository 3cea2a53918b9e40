package field

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"os"
	"time"
)

// userTimeout is how long sent bytes may stay unacknowledged by the other host
// before the kernel gives the connection up.
const userTimeout = 20 * time.Second

// load reads the files. Only the given authority is believed.
func (f TLSFiles) load(serverName string) (*tls.Config, error) {
	if f.CA == "" {
		return nil, errors.New("read the tls files: ca is missing; mqtts:// trusts no other authority")
	}
	pem, err := os.ReadFile(f.CA)
	if err != nil {
		return nil, fmt.Errorf("read the tls ca: %w", err)
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(pem) {
		return nil, fmt.Errorf("read the tls ca %s: no certificate is in it", f.CA)
	}
	c := &tls.Config{RootCAs: pool, ServerName: serverName, MinVersion: tls.VersionTLS12}
	if f.Cert == "" && f.Key == "" {
		return c, nil
	}
	pair, err := tls.LoadX509KeyPair(f.Cert, f.Key)
	if err != nil {
		return nil, fmt.Errorf("read the tls cert and key: %w", err)
	}
	c.Certificates = []tls.Certificate{pair}
	return c, nil
}

// dial opens the connection itself: no proxy is ever asked, whatever the
// environment says.
func (c *Config) dial(ctx context.Context, e endpoint) (*wire, error) {
	dialer := net.Dialer{Timeout: c.times.connect, Control: setUserTimeout}
	conn, err := dialer.DialContext(ctx, "tcp", e.address())
	if err != nil {
		return nil, err
	}
	if !e.tls {
		return newWire(conn, c.times.write), nil
	}
	settings, err := c.TLS.load(e.host)
	if err != nil {
		return nil, errors.Join(err, conn.Close())
	}
	ctx, cancel := context.WithTimeout(ctx, c.times.connect)
	defer cancel()
	secured := tls.Client(conn, settings)
	if err := secured.HandshakeContext(ctx); err != nil {
		return nil, errors.Join(explainTLS(err), conn.Close())
	}
	return newWire(secured, c.times.write), nil
}

// explainTLS says what a box without a battery-backed clock runs into.
func explainTLS(err error) error {
	var invalid x509.CertificateInvalidError
	if errors.As(err, &invalid) && invalid.Reason == x509.Expired {
		return fmt.Errorf("check the broker's certificate (this machine's clock says %s): %w",
			time.Now().Format("2006-01-02 15:04"), err)
	}
	return fmt.Errorf("check the broker's certificate: %w", err)
}
