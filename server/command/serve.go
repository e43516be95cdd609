package command

import (
	"context"
	"crypto/tls"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/bytestream"
	"pulsewright/acquire/guard"
	"pulsewright/acquire/serialport"
	"pulsewright/acquire/simulate"
	"pulsewright/acquire/soundcard"
	"pulsewright/server"
	"pulsewright/server/hub"
	"pulsewright/server/library"
	"pulsewright/server/library/recorder"
	"pulsewright/server/library/remembered"
	"pulsewright/server/session"
	"pulsewright/web"
)

// queueFrames is how many frames may wait for one page: the last minute, 60 frames at
// the highest rate of the points, and three seconds of live frames.
const queueFrames = 256

type serveFlags struct {
	columns              string // of the first source
	listen, source, data string
	open, verbose        bool
	share                bool
	sharePort            int
	tls                  *tls.Config
	files                []string
	ready                func(*server.Server) // for tests: told when everything is wired
	stdout               io.Writer
	log                  *slog.Logger
}

func serve(ctx context.Context, args []string, stdout, stderr io.Writer) error {
	var o serveFlags
	f := flags("serve", "[RECORDING …]", "Serves the page on this computer and prints its address. Recordings named are offered as sources, the first one is opened.", stderr)
	f.StringVar(&o.listen, "listen", "127.0.0.1:8147", "`host:port` to serve the page on; port 0 picks a free one")
	f.StringVar(&o.source, "source", "", "`address` of the source to open first (default demo:finger)")
	f.StringVar(&o.columns, "columns", "", "`list` of what the board's columns are, in order: names, with a unit and a kind if you like, a clock's name (t_us, t_ms, t_s, seq), or - to leave one out, as in \"t_us,pulse [mV],lead [mV] (ecg),-\"; remembered for the board")
	f.StringVar(&o.data, "data", "", "`folder` of recordings and settings (default: the system's place for a program's data)")
	f.BoolVar(&o.open, "open", false, "open the page in the browser")
	f.BoolVar(&o.share, "share", false, "share the page with other computers of the network: prints a watch-only link; the owner's link stands on the page, under Share")
	f.IntVar(&o.sharePort, "share-port", 0, "`port` to share on, also when Share is pressed on the page; 0 is the last one, or any that is free")
	certificate := f.String("tls-cert", "", "`file` of a certificate with its chain (PEM): what other computers reach is then served by HTTPS")
	key := f.String("tls-key", "", "`file` of that certificate's private key (PEM)")
	f.BoolVar(&o.verbose, "v", false, "log more")
	if err := parse(f, args, stdout); err != nil {
		return err
	}
	o.files = f.Args()
	given := map[string]bool{}
	f.Visit(func(f *flag.Flag) { given[f.Name] = true })
	explicit := given["listen"]
	if o.sharePort < 0 || o.sharePort > 65535 {
		return fmt.Errorf("%w: -share-port %d: give 0 for the last one or any, or 1 to 65535", errMisused, o.sharePort)
	}
	level := slog.LevelWarn
	if o.verbose {
		level = slog.LevelDebug
	}
	log := slog.New(slog.NewTextHandler(stderr, &slog.HandlerOptions{Level: level}))
	var err error
	if o.tls, err = loadTLS(*certificate, *key, log); err != nil {
		return err
	}
	l, err := net.Listen("tcp", o.listen)
	if err != nil && !explicit {
		fmt.Fprintf(stderr, "pulsewright: %s is taken; taking another port\n", o.listen)
		l, err = net.Listen("tcp", "127.0.0.1:0")
	}
	if err != nil {
		return fmt.Errorf("cannot serve on %s: %w; choose another address with -listen, as in -listen 127.0.0.1:0", o.listen, err)
	}
	if o.share && !server.Local(l) {
		l.Close()
		return fmt.Errorf("%w: -share with -listen %s: what listens on the network is shared already; leave one of them out", errMisused, o.listen)
	}
	o.stdout, o.log = stdout, log
	return serveOn(ctx, l, o)
}

// works is the program at work: the session and what it feeds, and the web side.
type works struct {
	live     *session.Session
	pages    *hub.Hub
	store    *library.Store
	recorder *recorder.Recorder
	reviews  *library.Reviews
	settings *remembered.Settings
	web      *server.Server
}

func newWorks(folder string, o serveFlags) *works {
	b := &works{pages: hub.New(queueFrames), store: library.NewStore(folder), settings: remembered.NewSettings(folder, o.log)}
	b.recorder = recorder.New(recorder.Config{Folder: folder, Problem: func(text string) { b.live.Problem(text) }, Changed: func() { b.live.Refresh() }})
	b.reviews = library.NewReviews(b.store)
	audio, ports := soundcard.NewBrowser(), bytestream.NewPages()
	intervals, onBoard := server.NewIntervals(), server.NewOnBoard()
	b.live = session.New(session.Config{Openers: warned(rememberColumns(openers(audio, ports, os.Stdin), folder, o.log), o.stdout), Hub: b.pages, Log: o.log, Version: Version, Taps: []session.Tap{b.recorder, intervals, onBoard},
		Remember: b.settings, Say: b.store.SayOf,
		Recording: func() any {
			if state := b.recorder.State(); state != nil {
				return state
			}
			return nil
		}})
	host, _, _ := net.SplitHostPort(o.listen)
	b.web = server.New(server.Config{Session: b.live, Intervals: intervals, OnBoard: onBoard, Log: o.log, Page: web.Files(), Names: []string{host}, TLS: o.tls, LinksFile: filepath.Join(folder, "links.json"), SharePort: o.sharePort, Audio: audio, Ports: ports, Card: openCard,
		Sources:    func(ctx context.Context) server.Choices { return choices(o.files, b.store) },
		Recordings: server.Recordings{Store: b.store, Recorder: b.recorder, Reviews: b.reviews}})
	return b
}

// close ends what is being recorded and waits until everything is written.
func (b *works) close(log *slog.Logger) {
	if err := b.recorder.Close(); err != nil {
		log.Error("closing the recording", "err", err)
	}
	b.reviews.Close()
	b.settings.Close()
}

// serveOn serves on l until ctx ends.
func serveOn(ctx context.Context, l net.Listener, o serveFlags) error {
	folder, err := dataFolder(o.data)
	if err != nil {
		return err
	}
	b := newWorks(folder, o)
	defer b.close(o.log)
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	var wg sync.WaitGroup
	defer wg.Wait()
	defer stop()
	wg.Go(func() {
		_ = guard.Call("looking through the recordings", func() error { _, err := b.store.Brief(); return err })
	}) // what a crash left is closed; a folder that cannot be read is told on the page
	wg.Go(func() {
		if err := b.live.Run(ctx); err != nil {
			o.log.Error("session", "err", err)
		}
		b.pages.Close()
	})
	if o.ready != nil {
		o.ready(b.web)
	}
	address := pageAddress(l, o.tls != nil)
	fmt.Fprintln(o.stdout, "Pulsewright shows its page at "+address+"  (Ctrl-C ends it)")
	if !server.Local(l) {
		watch, own := b.web.Sharing.Links(l)
		printWatchLinks(o.stdout, watch)
		path, err := writeOwnersLink(folder, own)
		if err != nil {
			return fmt.Errorf("the owner's link cannot be written: %w", err)
		}
		fmt.Fprintln(o.stdout, "owner's link in: "+path)
	}
	wg.Go(func() {
		if err := guard.Call("opening the source", func() error { return openFirst(ctx, b.live, o.first(), o.log) }); err != nil {
			o.log.Error("cannot open the source", "err", err)
		}
	})
	if o.open {
		if err := openBrowser(ctx, address); err != nil {
			o.log.Warn("cannot open the browser; open the address by hand", "err", err)
		}
	}
	if o.share && server.Local(l) {
		if err := b.web.Sharing.Start(0); err != nil {
			return err
		}
		state := b.web.Sharing.State()
		printWatchLinks(o.stdout, append(state.Watch, state.Short...))
	}
	if err := b.web.Serve(ctx, l); !errors.Is(err, context.Canceled) {
		return err
	}
	return nil
}

// first is the address of the source to open first.
func (o *serveFlags) first() string {
	if source := withColumns(o.source, o.columns); source != "" {
		return source
	}
	if len(o.files) > 0 {
		return "file:" + o.files[0]
	}
	return "demo:finger"
}

// openFirst opens the first source. One that may still come (a board not yet plugged
// in, or not yet connected) is tried again until it is there or another was chosen.
func openFirst(ctx context.Context, live *session.Session, source string, log *slog.Logger) error {
	for said := ""; ; {
		err := live.Open(ctx, source)
		if err == nil || ctx.Err() != nil {
			return nil
		}
		if !errors.Is(err, acquire.ErrUnplugged) {
			return err
		}
		if text := err.Error(); text != said {
			said = text
			log.Warn("waiting for the source", "err", err)
		}
		if waitABit(ctx, time.Second) != nil || live.State().Status != session.StatusFailed {
			return nil
		}
	}
}

// waitABit waits, unless ctx ends before.
func waitABit(ctx context.Context, long time.Duration) error {
	select {
	case <-time.After(long):
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// openCard opens this computer's sound card for measuring a board.
func openCard(input, output string, rateHz float64) (server.Card, error) {
	b, err := soundcard.OpenBench(input, output, rateHz)
	if err != nil {
		return nil, err
	}
	return b, nil
}

// printWatchLinks leaves the owner's link out: a terminal may stand on a projector.
func printWatchLinks(stdout io.Writer, watch []string) {
	for _, link := range watch {
		fmt.Fprintln(stdout, "watch only:  "+link)
	}
}

// ownersLinkFile holds the owner's link where no browser of this computer itself can open
// the page, as in a container.
const ownersLinkFile = "owner-link.txt"

func writeOwnersLink(folder string, own []string) (string, error) {
	path := filepath.Join(folder, ownersLinkFile)
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return "", err
	}
	return path, os.WriteFile(path, []byte(strings.Join(own, "\n")+"\n"), 0o600)
}

// pageAddress is where this computer's own browser finds the page.
func pageAddress(l net.Listener, secure bool) string {
	scheme, host := "http", l.Addr().String()
	if a, ok := l.Addr().(*net.TCPAddr); ok && a.IP.IsUnspecified() {
		host = fmt.Sprintf("127.0.0.1:%d", a.Port)
	}
	if secure && !server.Local(l) {
		scheme = "https"
	}
	return scheme + "://" + host + "/"
}

// dataFolder is where recordings and settings are kept: named, or the system's
// place for a program's data.
func dataFolder(named string) (string, error) {
	if named != "" {
		return filepath.Abs(named)
	}
	if home := os.Getenv("XDG_DATA_HOME"); home != "" && filepath.IsAbs(home) {
		return filepath.Join(home, "pulsewright"), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", fmt.Errorf("no home folder (%w): name a folder with -data", err)
	}
	switch runtime.GOOS {
	case "windows", "darwin":
		return filepath.Join(home, "Documents", "Pulsewright"), nil
	}
	return filepath.Join(home, ".local", "share", "pulsewright"), nil
}

// tagged is the tag of what is invented, in front of more.
func tagged(invented bool) string {
	if invented {
		return acquire.InventedTag + ", "
	}
	return ""
}

// choices lists the sources that can be opened now.
func choices(files []string, store *library.Store) server.Choices {
	c := server.Choices{Demos: []server.Choice{}, Ports: []server.Choice{}, Recordings: []server.Choice{}, Sounds: []server.Choice{}, Hosts: hosts(), Problems: []string{}}
	for _, d := range simulate.Demos() {
		c.Demos = append(c.Demos, server.Choice{Address: d.Address, Name: d.Name, What: d.What})
	}
	ports, err := serialport.Ports()
	if err != nil {
		c.Problems = append(c.Problems, err.Error())
	}
	for _, p := range ports {
		c.Ports = append(c.Ports, server.Choice{Address: "serial:" + p.Name, Name: p.Name, What: p.Description})
	}
	for _, name := range files {
		c.Recordings = append(c.Recordings, server.Choice{Address: "file:" + name, Name: name, What: "named on the command line"})
	}
	if store != nil {
		list, err := store.Brief()
		if err != nil {
			c.Problems = append(c.Problems, err.Error())
		}
		for _, e := range list {
			if e.Problem == "" {
				c.Recordings = append(c.Recordings, server.Choice{Address: e.Address, Name: e.Name, What: tagged(e.Invented) + fmt.Sprintf("%s, %.0f s at %.5g Hz", e.Started.Format("2006-01-02 15:04"), e.Seconds, e.RateHz)})
			}
		}
	}
	devices, err := soundcard.Devices()
	if err != nil && (store == nil || !errors.Is(err, soundcard.ErrNotBuilt)) { // the page offers its browser's inputs instead
		c.Problems = append(c.Problems, err.Error())
	}
	for _, d := range devices {
		c.Sounds = append(c.Sounds, server.Choice{Address: "sound:" + d.Name, Name: d.Name, What: fmt.Sprintf("%s, %d channels, %g Hz", d.System, d.Channels, d.RateHz)})
	}
	return c
}

// hosts lists this computer's addresses in its networks.
func hosts() []string {
	list := []string{}
	all, err := net.InterfaceAddrs()
	if err != nil {
		return list // listening on all of them is still offered
	}
	for _, a := range all {
		if n, ok := a.(*net.IPNet); ok && n.IP.IsGlobalUnicast() {
			list = append(list, n.IP.String())
		}
	}
	return list
}

// cableless are the forms of addresses of boards without a cable, for inputs.
var cableless = []server.Choice{
	{Address: "tcp:HOST:PORT", Name: "TCP", What: "a board in the network that listens; this program connects to it"},
	{Address: "tcp-listen:PORT", Name: "TCP", What: "a board that connects to this computer; ADDRESS:PORT lets other computers in"},
	{Address: "udp:PORT", Name: "UDP", What: "a board that sends packets to this computer; ADDRESS:PORT lets other computers in"},
	{Address: "fifo:PATH", Name: "pipe", What: "a named pipe into which another program writes"},
	{Address: "-", Name: "standard input", What: "what another program prints into this one"},
}

// openBrowser asks the system to show an address.
func openBrowser(ctx context.Context, address string) error {
	var c *exec.Cmd
	switch runtime.GOOS {
	case "windows":
		c = exec.CommandContext(ctx, "rundll32", "url.dll,FileProtocolHandler", address)
	case "darwin":
		c = exec.CommandContext(ctx, "open", address)
	default:
		c = exec.CommandContext(ctx, "xdg-open", address)
	}
	if err := c.Start(); err != nil {
		return err
	}
	go func() { _ = c.Wait() }()
	return nil
}

func inputs(_ context.Context, args []string, stdout, stderr io.Writer) error {
	f := flags("inputs", "", "Lists what can be opened: address, name and what it is, separated by tabs.", stderr)
	if err := parse(f, args, stdout); err != nil {
		return err
	}
	if f.NArg() > 0 {
		return fmt.Errorf("%w: inputs takes no argument, got %q", errMisused, f.Arg(0))
	}
	c := choices(nil, nil)
	for _, list := range [][]server.Choice{c.Ports, c.Sounds, cableless, c.Demos} {
		for _, s := range list {
			fmt.Fprintf(stdout, "%s\t%s\t%s\n", s.Address, s.Name, s.What)
		}
	}
	for _, p := range c.Problems {
		fmt.Fprintln(stderr, "pulsewright inputs:", p)
	}
	if len(c.Ports)+len(c.Sounds) > 0 {
		fmt.Fprintln(stderr, beforeWired)
	}
	return nil
}
