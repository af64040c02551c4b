package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"github.com/spf13/cobra"

	"lobescribe/device/measure"
	"lobescribe/storage"
	"lobescribe/storage/shop"
)

// newRoot returns the command with all its subcommands.
func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:   "lobescribe",
		Short: "Follow a hand-turned engine's valve: max lift, half lift, every turn saved",
		Long: `Lobescribe watches a digital indicator (and a crank encoder, if there is one)
while you turn an engine by hand. It calls out max lift and half lift, keeps
every turn, does the arithmetic of the valve train, and shows it on a local
web page.

Try it without hardware:   lobescribe demo
With an indicator:         lobescribe ports
                           lobescribe serve --indicator serial:/dev/ttyUSB0

Battery off, plugs out, fingers clear, never the starter. Valve springs store
energy. The engine maker's figures come before any number shown here.`,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			return cmd.Help()
		},
	}
	root.PersistentFlags().String("data", "", "folder of the store (default: the user's data folder)")
	root.PersistentFlags().String("formats", "", "TOML file with line formats of your own (default: formats.toml in the data folder)")
	_ = root.MarkPersistentFlagDirname("data")
	readsFile(root.PersistentFlags(), "formats", "toml")
	root.PersistentFlags().String("config", "", "settings file (default: "+settingsFile+" in the user's or the system's settings folder)")
	_ = root.MarkPersistentFlagFilename("config", "toml")
	addLogFlags(root)
	root.PersistentPreRunE = func(cmd *cobra.Command, _ []string) error { return applySettings(cmd) }
	root.AddCommand(
		newDemo(), newServe(), newPorts(), newProbe(), newFormats(), newAddresses(), newListen(), newRecord(), newDelay(), newProve(), newAnalyse(),
		newEngines(), newTrials(), newTraces(), newShow(), newLeaveOut(), newExport(), newImport(), newReplay(),
		newCalcCommand(), newSimulate(), newSheet(), newDoctor(), newBoard(), newShop(),
		newBackup(), newRestore(), newVerify(),
		newKeyCommand(), newConfig(), newSchema(), newVersion(), newManpages(),
	)
	sayWhatToDo(root)
	return root
}

// dataFolder returns where the store is: the setting, or the user's data folder
// of the system at hand.
func dataFolder(cmd *cobra.Command) (string, error) {
	if dir, _ := cmd.Flags().GetString("data"); dir != "" {
		return dir, nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", fmt.Errorf("find the data folder: %w (name one with --data DIR)", err)
	}
	switch runtime.GOOS {
	case "windows":
		if dir := os.Getenv("LocalAppData"); dir != "" {
			return filepath.Join(dir, "Lobescribe"), nil
		}
		return filepath.Join(home, "AppData", "Local", "Lobescribe"), nil
	case "darwin":
		return filepath.Join(home, "Library", "Application Support", "Lobescribe"), nil
	}
	if dir := os.Getenv("XDG_DATA_HOME"); dir != "" {
		return filepath.Join(dir, "lobescribe"), nil
	}
	return filepath.Join(home, ".local", "share", "lobescribe"), nil
}

// storeFile is the name of the store inside its folder.
const storeFile = "bench.db"

// openStore opens the store that --data names: to write into it only if it is
// a bench's own.
func openStore(cmd *cobra.Command, o storage.Options) (*storage.Store, error) {
	dir, err := dataFolder(cmd)
	if err != nil {
		return nil, err
	}
	o.Log = logger(cmd)
	store, err := storage.Open(filepath.Join(dir, storeFile), o)
	if err != nil || o.ReadOnly {
		return store, err
	}
	if record, err := shop.IsRecord(store); record && err == nil {
		return nil, errors.Join(errRecord, store.Close())
	}
	return store, nil
}

// addJSONFlag adds --json to a command that prints results without lengths.
func addJSONFlag(cmd *cobra.Command) { cmd.Flags().Bool("json", false, "print JSON") }

// addOutputFlags adds --json and --unit to a command that prints lengths.
func addOutputFlags(cmd *cobra.Command) {
	addJSONFlag(cmd)
	addUnitFlag(cmd)
}

func addUnitFlag(cmd *cobra.Command) {
	cmd.Flags().String("unit", "mm", "lengths in the printed table: mm, in or thou")
	asSettings(cmd.Flags(), "unit")
}

// printer writes a command's result as it was asked for.
type printer struct {
	w    io.Writer
	json bool
	unit measure.Unit
}

// newPrinter reads the flags of addOutputFlags or addJSONFlag.
func newPrinter(cmd *cobra.Command) (printer, error) {
	p := printer{w: cmd.OutOrStdout(), unit: measure.InMillimetres}
	p.json, _ = cmd.Flags().GetBool("json")
	if text, _ := cmd.Flags().GetString("unit"); text != "" {
		u, err := measure.ParseUnit(text)
		if err != nil {
			return p, wordsError{err}
		}
		p.unit = u
	}
	return p, nil
}

// harmless writes text of which nothing moves a terminal's cursor, colours it or
// turns the order of letters round, whatever a name or a remark holds.
type harmless struct{ to io.Writer }

// Write is that of io.Writer.
func (h harmless) Write(b []byte) (int, error) {
	text := string(b)
	if !strings.ContainsFunc(text, storage.Unprintable) {
		return h.to.Write(b)
	}
	var out strings.Builder
	for _, c := range text {
		if storage.Unprintable(c) {
			fmt.Fprintf(&out, "\\u%04x", c)
		} else {
			out.WriteRune(c)
		}
	}
	if _, err := io.WriteString(h.to, out.String()); err != nil {
		return 0, err
	}
	return len(b), nil
}

// print writes v as JSON, or calls table.
func (p printer) print(v any, table func(io.Writer, measure.Unit) error) error {
	if !p.json {
		return table(harmless{p.w}, p.unit)
	}
	e := json.NewEncoder(p.w)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false) // an address keeps its &
	return e.Encode(v)
}
