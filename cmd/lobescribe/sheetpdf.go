package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"time"
)

// browsers that print a page without showing it, by what they are called on a PATH.
// The sheet is a web page, made to be printed by one: a second way of setting it
// would be a second sheet.
var browsers = []string{"chromium", "chromium-browser", "google-chrome-stable", "google-chrome", "chrome", "microsoft-edge-stable", "microsoft-edge", "msedge", "brave-browser", "brave"}

// browserPlaces are where the systems put one that is on no PATH.
func browserPlaces() []string {
	switch runtime.GOOS {
	case "darwin":
		return []string{"/Applications/Google Chrome.app/Contents/MacOS/Google Chrome", "/Applications/Chromium.app/Contents/MacOS/Chromium", "/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge"}
	case "windows":
		var all []string
		for _, root := range []string{os.Getenv("ProgramFiles"), os.Getenv("ProgramFiles(x86)"), os.Getenv("LocalAppData")} {
			if root != "" {
				all = append(all, filepath.Join(root, `Google\Chrome\Application\chrome.exe`), filepath.Join(root, `Microsoft\Edge\Application\msedge.exe`))
			}
		}
		return all
	}
	return nil
}

// findBrowser returns the first browser that is there.
func findBrowser() (string, error) {
	for _, name := range browsers {
		if found, err := exec.LookPath(name); err == nil {
			return found, nil
		}
	}
	for _, place := range browserPlaces() {
		if info, err := os.Stat(place); err == nil && info.Mode().IsRegular() {
			return place, nil
		}
	}
	return "", errors.New("a PDF is printed by a browser, and no Chromium, Chrome or Edge was found: install one, or write -o FILE.html and print that from any browser")
}

// longestPrint is how long a browser may take to print a sheet.
const longestPrint = 2 * time.Minute

// writePDF prints a page into a file, whole or not at all.
func writePDF(ctx context.Context, name string, page func(io.Writer) error) error {
	browser, err := findBrowser()
	if err != nil {
		return err
	}
	// Beside the file: a browser in a cage of its own sees the user's folders, and no others.
	return writeBeside(name, func(w io.Writer) error {
		room, err := os.MkdirTemp(filepath.Dir(name), "lobescribe-sheet-")
		if err != nil {
			return err
		}
		defer os.RemoveAll(room)
		if room, err = filepath.Abs(room); err != nil {
			return err
		}
		html, pdf := filepath.Join(room, "sheet.html"), filepath.Join(room, "sheet.pdf")
		f, err := os.Create(html)
		if err != nil {
			return err
		}
		if err := errors.Join(page(f), f.Close()); err != nil {
			return err
		}
		if err := print(ctx, browser, room, html, pdf); err != nil {
			return err
		}
		made, err := os.Open(pdf)
		if err != nil {
			return fmt.Errorf("%s printed nothing: write -o FILE.html and print that from a browser", filepath.Base(browser))
		}
		defer made.Close()
		_, err = io.Copy(w, made)
		return err
	})
}

// print has a browser print a page, without a window and with a profile of its own,
// so that one that is open already is left alone.
func print(ctx context.Context, browser, room, html, pdf string) error {
	ctx, stop := context.WithTimeout(ctx, longestPrint)
	defer stop()
	words := []string{"--headless", "--disable-gpu", "--disable-extensions", "--no-first-run", "--user-data-dir=" + filepath.Join(room, "profile"), "--no-pdf-header-footer", "--print-to-pdf=" + pdf}
	if os.Geteuid() == 0 {
		words = append(words, "--no-sandbox") // it refuses to run as root with one; the page is our own and has no script
	}
	place := url.URL{Scheme: "file", Path: filepath.ToSlash(html)}
	if runtime.GOOS == "windows" {
		place.Path = "/" + place.Path
	}
	cmd := exec.CommandContext(ctx, browser, append(words, place.String())...)
	cmd.WaitDelay = 5 * time.Second
	err := cmd.Run()
	switch {
	case ctx.Err() == context.DeadlineExceeded:
		return fmt.Errorf("%s did not print within %s: write -o FILE.html and print that from a browser", filepath.Base(browser), longestPrint)
	case ctx.Err() != nil:
		return ctx.Err()
	case err != nil:
		return fmt.Errorf("%s could not print it: write -o FILE.html and print that from a browser", filepath.Base(browser))
	}
	return nil
}
