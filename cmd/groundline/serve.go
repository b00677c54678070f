package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"groundline/cmd/serve"
	"groundline/cmd/serve/guard"
	"groundline/report/keep"
)

// serveFlags are the choices of the local page.
type serveFlags struct {
	store          string
	listen         string
	names          []string
	passcodeFile   string
	setPasscode    bool
	forgetPasscode bool
	cert, key      string
	maxUploadMB    int64
	verbose        bool
	openHere       bool
}

// listenUsually is this machine alone, at a port that no registered service has.
const listenUsually = "127.0.0.1:8417"

func serveCommand(std streams) *cobra.Command {
	f := serveFlags{maxUploadMB: serve.DefaultMaxUploadBytes >> 20}
	c := &cobra.Command{
		Use:   "serve",
		Short: "Open the local page: drop rides, draw courses, compare, keep",
		Long: `serve opens a page for the browser on this machine: drop the files of a ride and land on its
debrief, draw and walk courses, compare attempts at a line, see each horse's record, take the
stride table away. What is dropped is kept in the store, untouched. Nothing leaves the machine.

It runs until interrupted (Ctrl+C). The address that it prints signs in the browser that opens it
first; other accounts of this machine get nothing (--open-here lets them in).

Others come in only by a passcode. Set it once with --set-passcode, which asks for it twice; it is
kept in the store as a hash. Then --listen 0.0.0.0:8417 opens the page to the network. Without TLS
whoever is on that network can read along: give --cert and --key, or put a proxy that does TLS in
front and name it with --name https://NAME. A program sends "Authorization: Bearer PASSCODE".

` + exitHelp,
		Example: `  groundline serve
  groundline serve --store riding-school
  groundline serve --set-passcode
  groundline serve --listen 0.0.0.0:8417 --cert yard.pem --key yard.key`,
		Args: filesGiven("", 0, 0),
		RunE: func(c *cobra.Command, _ []string) error {
			return servePage(c.Context(), f, std)
		},
	}
	storeFlag(c, &f.store)
	flags := c.Flags()
	flags.StringVar(&f.listen, "listen", listenUsually, "address and port")
	flags.StringArrayVar(&f.names, "name", nil, "a further name the server answers to; https://NAME where a proxy in front does TLS; may be repeated")
	flags.BoolVar(&f.setPasscode, "set-passcode", false, "ask for a passcode, keep its hash in the store, and end")
	flags.BoolVar(&f.forgetPasscode, "forget-passcode", false, "ask for no passcode any more, and end")
	flags.StringVar(&f.passcodeFile, "passcode-file", "", "set the passcode from the file's first line")
	flags.StringVar(&f.cert, "cert", "", "the certificate for TLS, a PEM file; taken anew when it changes")
	flags.StringVar(&f.key, "key", "", "the certificate's key, a PEM file")
	flags.Int64Var(&f.maxUploadMB, "max-upload", f.maxUploadMB, "the largest recording that is taken, all its files together, MB")
	flags.BoolVar(&f.openHere, "open-here", false, "without a passcode: let every account of this machine in, not only who has the printed address")
	flags.BoolVar(&f.verbose, "verbose", false, "write a line for each request")
	c.MarkFlagsMutuallyExclusive("set-passcode", "forget-passcode", "passcode-file")
	c.MarkFlagsRequiredTogether("cert", "key")
	return c
}

const (
	// An upload under way gets this long when the page is stopped.
	finishWithin = 10 * time.Second
	// How soon a running page takes over a passcode that was set meanwhile.
	passcodeEach = 5 * time.Second
	// Room for a form's fields and part headers beside the files.
	formBytes = 4 << 20
)

// passcodeSetting is where the store keeps the passcode's hash.
const passcodeSetting = "passcode"

// servePage serves until the context ends, then lets what is under way finish.
func servePage(ctx context.Context, f serveFlags, std streams) error {
	if f.maxUploadMB < 1 || f.maxUploadMB > 1<<20 {
		return badUse(fmt.Errorf("--max-upload %d: expected megabytes, 1 to %d", f.maxUploadMB, 1<<20))
	}
	level := slog.LevelWarn
	if f.verbose {
		level = slog.LevelInfo
	}
	log := slog.New(slog.NewTextHandler(std.err, &slog.HandlerOptions{Level: level}))
	store, err := openStore(ctx, f.store, std, log)
	if err != nil {
		return err
	}
	defer store.Close()
	if f.setPasscode || f.forgetPasscode {
		return changePasscode(ctx, f, store, std)
	}
	passcode, err := passcodeOf(ctx, f, store)
	if err != nil {
		return err
	}
	door, err := guard.New(guard.Options{
		Names: f.names, Sessions: store.Sessions(), Open: serve.OpenToAll, Uploading: serve.BringsFiles, Weight: serve.Weight,
		MaxUpload: f.maxUploadMB<<20 + formBytes, Log: log,
	})
	if err != nil {
		return badUse(fmt.Errorf("--name: %w", err))
	}
	if err := door.SetPasscode(passcode); err != nil {
		return badInput(fmt.Errorf("groundline: %w", err))
	}
	path := "/"
	if passcode == "" && !f.openHere {
		if path, err = door.AskForLink(); err != nil {
			return noAnswer(err)
		}
	}
	var secure *tls.Config
	if f.cert != "" {
		if secure, err = guard.TLS(f.cert, f.key, log); err != nil {
			return badInput(fmt.Errorf("--cert %s, --key %s: %w", f.cert, f.key, err))
		}
	}
	demo, err := demoContent()
	if err != nil {
		return noAnswer(err)
	}
	listener, err := listen(f, passcode != "", secure != nil, std)
	if err != nil {
		return err
	}

	work, stop := context.WithCancel(ctx)
	worked := make(chan error, 1)
	go func() { worked <- store.Work(work, 2) }()
	go checkQuietly(work, store, log)
	go followPasscode(work, store, door, log)
	server := door.Server(serve.New(serve.Options{Store: store, Log: log, Program: program(), Demo: demo, MaxUploadBytes: f.maxUploadMB << 20}))
	server.TLSConfig = secure
	served := make(chan error, 1)
	go func() {
		if secure != nil {
			served <- server.ServeTLS(guard.Limit(listener), "", "")
		} else {
			served <- server.Serve(guard.Limit(listener))
		}
	}()
	for _, address := range pageAddresses(listener.Addr(), f.names, secure != nil) {
		fmt.Fprintf(std.err, "groundline: the page is at %s until Ctrl+C\n", strings.TrimSuffix(address, "/")+path)
	}
	select {
	case err = <-served:
	case <-ctx.Done():
		// Who has pressed Ctrl+C and sees nothing happen is told why.
		word := time.AfterFunc(time.Second, func() {
			fmt.Fprintf(std.err, "groundline: something is still under way and gets up to %.0f s; Ctrl+C again ends at once\n", finishWithin.Seconds())
		})
		defer word.Stop()
		bounded, cancel := context.WithTimeout(context.WithoutCancel(ctx), finishWithin)
		defer cancel()
		if server.Shutdown(bounded) != nil {
			_ = server.Close() // who is not done by now is told by the broken line
		}
	}
	stop()
	<-worked
	if err != nil && !errors.Is(err, http.ErrServerClosed) {
		return noAnswer(fmt.Errorf("groundline: the page stopped: %w", err))
	}
	return nil
}

// listen opens the address, unless others could come in by it without a passcode.
func listen(f serveFlags, passcode, secure bool, std streams) (net.Listener, error) {
	address, err := net.ResolveTCPAddr("tcp", f.listen)
	if err != nil {
		return nil, badUse(fmt.Errorf("--listen %s: no such address, expected one of this machine and a port, such as %s: %w", f.listen, listenUsually, err))
	}
	proxy := slices.ContainsFunc(f.names, func(n string) bool { return strings.HasPrefix(n, "https://") })
	alone := address.IP.IsLoopback() // no address at all is every one
	what := "--listen " + f.listen
	if alone && proxy {
		alone, what = false, "--name https://…"
	}
	if !alone && !passcode {
		return nil, badUse(fmt.Errorf("%s: others could come in and no passcode is set; set one with groundline serve --set-passcode, or leave it out to serve this machine alone", what))
	}
	if !alone && !secure && !proxy {
		fmt.Fprintln(std.err, "groundline: without TLS, whoever is on the same network can read along, the passcode too; give --cert and --key, or put a proxy that does TLS in front and name it with --name https://NAME")
	}
	l, err := net.ListenTCP("tcp", address)
	if err != nil {
		return nil, badUse(fmt.Errorf("--listen %s: can't be listened on, expected a free address of this machine (does the page run already?): %w", f.listen, err))
	}
	return l, nil
}

// pageAddresses are where a browser finds the page.
func pageAddresses(at net.Addr, names []string, secure bool) []string {
	scheme := "http"
	if secure {
		scheme = "https"
	}
	var out []string
	for _, n := range names {
		if strings.HasPrefix(n, "https://") {
			out = append(out, n+"/")
		}
	}
	tcp, ok := at.(*net.TCPAddr)
	if !ok || !tcp.IP.IsUnspecified() {
		return append(out, fmt.Sprintf("%s://%s/", scheme, at))
	}
	own, err := net.InterfaceAddrs()
	if err != nil {
		return append(out, fmt.Sprintf("%s://%s/", scheme, at))
	}
	for _, a := range own {
		if n, ok := a.(*net.IPNet); ok && n.IP.IsGlobalUnicast() {
			out = append(out, fmt.Sprintf("%s://%s/", scheme, net.JoinHostPort(n.IP.String(), fmt.Sprint(tcp.Port))))
		}
	}
	return append(out, fmt.Sprintf("%s://localhost:%d/", scheme, tcp.Port))
}

// changePasscode sets or forgets the passcode. Everybody who is signed in has to sign in again.
func changePasscode(ctx context.Context, f serveFlags, store *keep.Store, std streams) error {
	hash, word := "", "no passcode is asked for any more"
	if f.setPasscode {
		if std.ask == nil {
			return badUse(errors.New("--set-passcode: no terminal to ask on, expected one, or --passcode-file FILE"))
		}
		first, err := std.ask(ctx, "New passcode: ")
		if err != nil {
			return noAnswer(err)
		}
		if hash, err = guard.Hash(first); err != nil {
			return badInput(fmt.Errorf("groundline: %w", err))
		}
		second, err := std.ask(ctx, "The same again: ")
		if err != nil {
			return noAnswer(err)
		}
		if first != second {
			return badInput(errors.New("groundline: passcode: the two differ; nothing was changed"))
		}
		word = "the passcode is set; groundline serve --listen 0.0.0.0:8417 opens the page to the network"
	}
	if err := store.SetSetting(ctx, passcodeSetting, hash); err != nil {
		return ofStore(err)
	}
	if err := store.Sessions().DropAll(ctx); err != nil {
		return ofStore(err)
	}
	fmt.Fprintf(std.err, "groundline: %s\n", word)
	return nil
}

// passcodeOf is the hash of the passcode that is asked for, "" for none. One in a file becomes the store's, unless it
// is that already: the sessions that began under it go on.
func passcodeOf(ctx context.Context, f serveFlags, store *keep.Store) (string, error) {
	kept, err := store.Setting(ctx, passcodeSetting)
	if err != nil {
		return "", ofStore(err)
	}
	if f.passcodeFile == "" {
		return kept, nil
	}
	file, err := os.Open(f.passcodeFile)
	if err != nil {
		return "", badInput(fmt.Errorf("--passcode-file: %w", err))
	}
	defer file.Close()
	head := make([]byte, 1024) // more than any passcode
	n, err := file.Read(head)
	if err != nil && n == 0 {
		return "", badInput(fmt.Errorf("--passcode-file %s: expected the passcode in its first line: %w", f.passcodeFile, err))
	}
	line, _, _ := strings.Cut(string(head[:n]), "\n")
	line = strings.TrimSuffix(line, "\r")
	if kept != "" {
		if same, err := guard.Verify(kept, line); err == nil && same {
			return kept, nil
		}
	}
	hash, err := guard.Hash(line)
	if err != nil {
		return "", badInput(fmt.Errorf("--passcode-file %s: %w", f.passcodeFile, err))
	}
	return hash, ofStore(store.SetSetting(ctx, passcodeSetting, hash))
}

// followPasscode takes over a passcode that another process sets in the store. It does not take over that there is
// none any more: who may come in by the address that is open was judged with one.
func followPasscode(ctx context.Context, store *keep.Store, door *guard.Guard, log *slog.Logger) {
	tick := time.NewTicker(passcodeEach)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		hash, err := store.Setting(ctx, passcodeSetting)
		if err == nil && hash != "" {
			err = door.SetPasscode(hash)
		}
		if err != nil && ctx.Err() == nil {
			log.Warn("the passcode could not be looked up, the one before holds", "error", err)
		}
	}
}

// demoContent are the recordings and the course of the invented round, by name.
func demoContent() (map[string][]byte, error) {
	out := map[string][]byte{}
	return out, fs.WalkDir(demoFiles, "demo", func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() || e.Name() == "README.md" {
			return err
		}
		data, err := demoFiles.ReadFile(path)
		out[e.Name()] = data
		return err
	})
}
