package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"time"

	"github.com/spf13/cobra"

	"groundline/cmd/serve"
)

// serveFlags are the choices of the local page.
type serveFlags struct {
	store  string
	listen string
}

// listenUsually is this machine alone, at a port that no registered service has.
const listenUsually = "127.0.0.1:8417"

func serveCommand(std streams) *cobra.Command {
	var f serveFlags
	c := &cobra.Command{
		Use:   "serve",
		Short: "Open the local page: drop rides, draw courses, compare, keep",
		Long: `serve opens a page for the browser on this machine: drop the files of a ride and land on its
debrief, draw and walk courses, compare attempts at a line, see each horse's record, take the
stride table away. What is dropped is kept in the store, untouched. Nothing leaves the machine.

It runs until interrupted (Ctrl+C).

` + exitHelp,
		Example: `  groundline serve
  groundline serve --store riding-school`,
		Args: filesGiven("", 0, 0),
		RunE: func(c *cobra.Command, _ []string) error {
			return servePage(c.Context(), f, std)
		},
	}
	storeFlag(c, &f.store)
	c.Flags().StringVar(&f.listen, "listen", listenUsually, "address and port")
	return c
}

// servePage serves until the context ends, then lets what is under way finish.
func servePage(ctx context.Context, f serveFlags, std streams) error {
	log := slog.New(slog.NewTextHandler(std.err, &slog.HandlerOptions{Level: slog.LevelWarn}))
	store, err := openStore(ctx, f.store, std, log)
	if err != nil {
		return err
	}
	defer store.Close()
	demo, err := demoContent()
	if err != nil {
		return noAnswer(err)
	}
	listener, err := net.Listen("tcp", f.listen)
	if err != nil {
		return badUse(fmt.Errorf("--listen %s: can't be listened on, expected a free address of this machine: %w", f.listen, err))
	}
	work, stop := context.WithCancel(ctx)
	worked := make(chan error, 1)
	go func() { worked <- store.Work(work, 2) }()
	server := &http.Server{Handler: serve.New(serve.Options{Store: store, Log: log, Program: program(), Demo: demo}), ReadHeaderTimeout: 10 * time.Second}
	served := make(chan error, 1)
	go func() { served <- server.Serve(listener) }()
	fmt.Fprintf(std.err, "groundline: the page is at http://%s/ until Ctrl+C\n", listener.Addr())
	select {
	case err = <-served:
	case <-ctx.Done():
		bounded, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
		defer cancel()
		err = server.Shutdown(bounded)
	}
	stop()
	<-worked
	if err != nil && !errors.Is(err, http.ErrServerClosed) {
		return noAnswer(fmt.Errorf("groundline: the page stopped: %w", err))
	}
	return nil
}

// demoContent are the files of the invented round, by name.
func demoContent() (map[string][]byte, error) {
	out := map[string][]byte{}
	return out, fs.WalkDir(demoFiles, "demo", func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		data, err := demoFiles.ReadFile(path)
		out[e.Name()] = data
		return err
	})
}
