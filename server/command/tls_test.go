package command

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"io"
	"log/slog"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pulsewright/server"
)

// writeCertificate makes a certificate valid until end and its key in PEM files.
func writeCertificate(t *testing.T, name string, end time.Time) (certificate, key string) {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "Evening class"}, DNSNames: []string{"bench.school.example"},
		NotBefore: end.Add(-48 * time.Hour), NotAfter: end}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &private.PublicKey, private)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	certificate, key = filepath.Join(folder, name+".crt"), filepath.Join(folder, name+".key")
	for path, block := range map[string]*pem.Block{certificate: {Type: "CERTIFICATE", Bytes: der}, key: {Type: "PRIVATE KEY", Bytes: secret}} {
		if err := os.WriteFile(path, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return certificate, key
}

func TestTLSFilesThatDoNotFitAreNamed(t *testing.T) {
	certificate, key := writeCertificate(t, "a", time.Now().Add(24*time.Hour))
	_, otherKey := writeCertificate(t, "b", time.Now().Add(24*time.Hour))
	garbage := filepath.Join(t.TempDir(), "garbage.pem")
	if err := os.WriteFile(garbage, []byte("not PEM"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name      string
		arguments []string
		status    int
		says      string
	}{
		{"certificate alone", []string{"-tls-cert", certificate}, 2, "-tls-key belong together"},
		{"key alone", []string{"-tls-key", key}, 2, "-tls-cert and -tls-key"},
		{"no such certificate", []string{"-tls-cert", certificate + "x", "-tls-key", key}, 1, "a.crtx"},
		{"no such key", []string{"-tls-cert", certificate, "-tls-key", key + "x"}, 1, "a.keyx"},
		{"another's key", []string{"-tls-cert", certificate, "-tls-key", otherKey}, 1, "private key does not match"},
		{"swapped", []string{"-tls-cert", key, "-tls-key", certificate}, 1, "PEM files"},
		{"garbage", []string{"-tls-cert", garbage, "-tls-key", key}, 1, "garbage.pem"},
	} {
		t.Run(c.name, func(t *testing.T) {
			ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
			defer cancel()
			var said bytes.Buffer
			status := Run(ctx, append([]string{"serve", "-listen", "127.0.0.1:0", "-data", t.TempDir()}, c.arguments...), io.Discard, &said)
			if status != c.status || !strings.Contains(said.String(), c.says) {
				t.Errorf("exit status %d, %q; want %d and %q", status, said.String(), c.status, c.says)
			}
		})
	}
}

func TestTLSFilesAreUsedForSharing(t *testing.T) {
	certificate, key := writeCertificate(t, "a", time.Now().Add(24*time.Hour))
	var said bytes.Buffer
	config, err := loadTLS(certificate, key, slog.New(slog.NewTextHandler(&said, nil)))
	if err != nil || said.String() != "" {
		t.Fatalf("%v, %q", err, said.String())
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ready, done := make(chan *server.Server, 1), make(chan error, 1)
	go func() {
		done <- serveOn(ctx, l, serveFlags{source: "demo:finger", data: t.TempDir(), tls: config, ready: func(s *server.Server) { ready <- s }, stdout: io.Discard, log: slog.New(slog.DiscardHandler)})
	}()
	if s := <-ready; !s.Sharing.State().Secure {
		t.Error("with a certificate sharing is not said to be secure")
	}
	cancel()
	<-done

	certificate, key = writeCertificate(t, "old", time.Now().Add(-time.Hour))
	if _, err := loadTLS(certificate, key, slog.New(slog.NewTextHandler(&said, nil))); err != nil || !strings.Contains(said.String(), "certificate has expired") {
		t.Errorf("a certificate that has ended: %v, %q; want a warning", err, said.String())
	}
}
