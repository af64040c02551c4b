package sheet_test

import (
	"bytes"
	"context"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/dashboard/sheet"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// chromium finds a browser. Without one the test is skipped, which is a failure
// where LOBESCRIBE_NEED_CHROMIUM is set, as in CI.
func chromium(t *testing.T) string {
	t.Helper()
	for _, name := range []string{os.Getenv("CHROMIUM"), "chromium", "chromium-browser", "google-chrome"} {
		if found, err := exec.LookPath(name); err == nil {
			return found
		}
	}
	if os.Getenv("LOBESCRIBE_NEED_CHROMIUM") != "" {
		t.Fatal("no chromium on the PATH: the sheet was not printed")
	}
	t.Skip("no chromium on the PATH: the sheet was not printed")
	return ""
}

// The papers and what the sheet's margins leave of them, in CSS pixels.
var papers = map[string]struct{ widthIn, heightIn, width, height float64 }{
	"A4":     {210 / 25.4, 297 / 25.4, (210 - 28) / 25.4 * 96, (297 - 30) / 25.4 * 96},
	"Letter": {8.5, 11, (8.5*25.4 - 28) / 25.4 * 96, (11*25.4 - 30) / 25.4 * 96},
}

// measured is what the browser says of the sheet as it will be printed.
type measured struct {
	Wide    []string // elements wider than the paper
	Breaks  []string // rows and figures that may be cut
	Tallest float64
	Rows    int
	Scripts int
}

// What is for screens alone is taken out of the style first.
const measureSheet = `(() => {
	const style = document.styleSheets[0];
	for (let i = style.cssRules.length - 1; i >= 0; i--)
		if (style.cssRules[i].media?.mediaText.includes("screen")) style.deleteRule(i);
	const out = {Wide: [], Breaks: [], Tallest: 0, Rows: 0, Scripts: document.scripts.length};
	const edge = document.body.getBoundingClientRect().right;
	for (const e of document.querySelectorAll("table, figure, svg, section, p, h1, h2, h3, .sign, .room"))
		if (e.getBoundingClientRect().right > edge + 1) out.Wide.push(e.tagName + " " + e.textContent.trim().slice(0, 40));
	for (const e of document.querySelectorAll("tr, figure, tbody.keep, .keep, .sign, .cautions, .room, li")) {
		out.Rows++;
		out.Tallest = Math.max(out.Tallest, e.getBoundingClientRect().height);
		if (getComputedStyle(e).breakInside !== "avoid") out.Breaks.push(e.tagName + " " + e.textContent.trim().slice(0, 40));
	}
	return out;
})()`

// One unit on the paper: a sheet in inches has no millimetre and no newton on it, one
// in millimetres no inch and no pound. What is said of several cylinders stands once.
func TestTheSheetIsInOneUnit(t *testing.T) {
	b := newBench(t)
	b.whole()
	b.turnOn("4I", 10.9, 470, true, 0.4) // its fault is told in both units, for whoever reads the trace in either
	b.asks(storage.WorkPushrod, "", `{"ends":[{"length_mm":10,"press_depth_mm":4,"ball_diameter_mm":8}],"rods":[{"valve":"1E","checking_rod_mm":202},{"valve":"1I","checking_rod_mm":200}]}`)
	b.asks(storage.WorkClearance, "1I", shut+`}}`)
	b.asks(storage.WorkSpring, "1I", `{"loads":[{"height_mm":45,"load_n":500},{"height_mm":35,"load_n":1000}],"installed_height_mm":45,"lift_mm":10,"solid_height_mm":33}`)
	for _, c := range []struct {
		unit measure.Unit
		not  string
	}{
		{measure.InInches, `\b(mm|millimetres?)\b|\d N\b|N/`},
		{measure.InMillimetres, `\d in\b|\binch(es)?\b|thou\b|\blbf?\b`},
	} {
		page := written(t, sheet.Write, b.gather(sheet.Options{Units: c.unit}), "")
		text := regexp.MustCompile(`(?s)<style.*?</style>|<[^>]*>`).ReplaceAllString(page, " ")
		for _, at := range regexp.MustCompile(c.not).FindAllStringIndex(text, -1) {
			assert.Fail(t, "another unit", "%v: ...%s...", c.unit, text[max(0, at[0]-90):min(len(text), at[1]+20)])
		}
		assert.Contains(t, text, "Off the card")
		assert.Contains(t, text, "zero-shift")
		says := regexp.MustCompile(`<p>(?:Cylinders? [\d, ]+|[\d, a-z]+): ([^<]*)</p>`).FindAllStringSubmatch(page, -1)
		require.Greater(t, len(says), 3)
		seen := map[string]bool{}
		for _, s := range says {
			assert.False(t, seen[s[1]], "said twice: %s", s[0])
			seen[s[1]] = true
		}
	}
}

// On either paper nothing is wider than the page, and what must not be cut
// (rows, figures, boxes) says so to the browser and is lower than a page, so
// that the browser can keep it whole. The PDFs are left with -keep, to look at.
func TestSheetPrints(t *testing.T) {
	browser := chromium(t)
	b := newBench(t)
	b.whole()
	b.asks(storage.WorkPushrod, "", `{"ends":[{"length_mm":10,"press_depth_mm":4,"ball_diameter_mm":8}],"rods":[{"valve":"1E","checking_rod_mm":202},{"valve":"1I","checking_rod_mm":200}]}`)
	b.asks(storage.WorkClearance, "1I", shut+`}}`)
	b.asks(storage.WorkSpring, "1I", `{"loads":[{"height_mm":45,"load_n":500},{"height_mm":35,"load_n":1000}],"installed_height_mm":45,"lift_mm":10,"solid_height_mm":33}`)
	text := written(t, sheet.Write, b.gather(options), "print.html")
	site := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		_, _ = w.Write([]byte(text))
	}))
	defer site.Close()
	start := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(browser), chromedp.NoSandbox)
	alone, stop := chromedp.NewExecAllocator(t.Context(), start...)
	defer stop()
	ctx, cancel := chromedp.NewContext(alone)
	defer cancel()
	ctx, done := context.WithTimeout(ctx, 2*time.Minute)
	defer done()
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(site.URL)))
	for name, p := range papers {
		pdf, err := chromedp.Run(ctx, chromedp.PrintToPDF(chromedp.PDFPaper(chromedp.PaperSize{Width: p.widthIn, Height: p.heightIn})))
		require.NoError(t, err)
		require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(int64(p.width), int64(p.height))))
		got, err := chromedp.Run(ctx, chromedp.Evaluate[measured](measureSheet))
		require.NoError(t, err)
		assert.Empty(t, got.Wide, name)
		assert.Empty(t, got.Breaks, name)
		assert.Greater(t, got.Rows, 50, name)
		assert.Less(t, got.Tallest, p.height, name)
		assert.Zero(t, got.Scripts, name)
		pages := bytes.Count(pdf, []byte("/Type /Page\n"))
		assert.True(t, pages >= 3 && pages <= 8, "%s: %d pages", name, pages)
		if *keep != "" {
			require.NoError(t, os.WriteFile(filepath.Join(*keep, name+".pdf"), pdf, 0o600))
		}
	}
}
