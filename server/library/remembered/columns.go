package remembered

import (
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"maps"
	"path/filepath"
	"sync"

	"pulsewright/acquire"
)

const columnsName = ".columns.json"

// Columns remembers what was said of a board's columns (the option names of its address),
// by the board's USB identity where it has one, in a file of the data folder.
type Columns struct {
	// Immutable after NewColumns.
	path     string
	log      *slog.Logger
	identity func(port string) string

	mu  sync.Mutex // guards all and the file
	all map[string]string
}

// NewColumns reads what was remembered; a file that cannot be read is begun anew. identity
// tells which board is on a port, "" when nobody knows.
func NewColumns(folder string, log *slog.Logger, identity func(port string) string) *Columns {
	path := filepath.Join(folder, columnsName)
	return &Columns{path: path, log: log, identity: identity, all: read[string](path, "columns", log)}
}

// key is the board's, so that it is known on any port.
func (c *Columns) key(a acquire.Address) string {
	if a.Scheme == "serial" {
		if id := c.identity(a.Path); id != "" {
			return a.Scheme + ":" + id
		}
	}
	return a.Scheme + ":" + a.Path
}

// Opener adds the remembered columns to addresses that say nothing of them, remembers what
// is said when the board could be opened with it, and forgets at an empty "names=". A
// board that prints other columns than remembered is opened as it is.
func (c *Columns) Opener(open acquire.Opener) acquire.Opener {
	return func(ctx context.Context, a acquire.Address) (acquire.Source, error) {
		key := c.key(a)
		if a.Options.Has("names") {
			said := a.Options.Get("names")
			if said == "" {
				a.Options = maps.Clone(a.Options)
				a.Options.Del("names")
			}
			s, err := open(ctx, a)
			if err == nil {
				c.remember(key, said)
			}
			return s, err
		}
		c.mu.Lock()
		said := c.all[key]
		c.mu.Unlock()
		if said == "" {
			return open(ctx, a)
		}
		with := a
		with.Options = maps.Clone(a.Options)
		if with.Options == nil {
			with.Options = map[string][]string{}
		}
		with.Options.Set("names", said)
		s, err := open(ctx, with)
		if err == nil || errors.Is(err, acquire.ErrUnplugged) || ctx.Err() != nil {
			return s, err
		}
		return open(ctx, a)
	}
}

// remember keeps what was said; "" forgets it.
func (c *Columns) remember(key, said string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.all[key] == said {
		return
	}
	c.all[key] = said
	if said == "" {
		delete(c.all, key)
	}
	data, err := json.MarshalIndent(c.all, "", " ")
	if err == nil {
		err = keep(c.path, data)
	}
	if err != nil {
		c.log.Warn("columns are not remembered", "err", err)
	}
}
