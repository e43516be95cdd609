package command

import (
	"crypto/tls"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"strings"
	"time"
)

// loadTLS reads a certificate and its key from PEM files; nil when neither is named.
func loadTLS(certificate, key string, log *slog.Logger) (*tls.Config, error) {
	if certificate == "" && key == "" {
		return nil, nil
	}
	if certificate == "" || key == "" {
		return nil, fmt.Errorf("%w: -tls-cert and -tls-key belong together: name both files or neither", errMisused)
	}
	pair, err := tls.LoadX509KeyPair(certificate, key)
	var missing *fs.PathError
	switch {
	case errors.As(err, &missing):
		return nil, fmt.Errorf("TLS: %w; name a PEM file that you may read", err)
	case err != nil:
		return nil, fmt.Errorf("TLS: certificate %s and key %s: %s; both must be PEM files, the key that of the first certificate",
			certificate, key, strings.TrimPrefix(err.Error(), "tls: "))
	}
	switch now := time.Now(); {
	case now.After(pair.Leaf.NotAfter):
		log.Warn("the TLS certificate has expired: browsers will refuse it; get a new one", "file", certificate, "ended", pair.Leaf.NotAfter)
	case now.Before(pair.Leaf.NotBefore):
		log.Warn("the TLS certificate is not valid yet: is this computer's clock right?", "file", certificate, "begins", pair.Leaf.NotBefore)
	}
	return &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12}, nil
}
