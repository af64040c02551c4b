package dashboard

import (
	"net/http"
	"strings"

	"lobescribe/capture/replay"
	"lobescribe/capture/rocker"
	"lobescribe/capture/rocker/photo"
	"lobescribe/capture/rocker/shims"
	"lobescribe/capture/timing"
	"lobescribe/dashboard/live"
	"lobescribe/dashboard/openapi"
	"lobescribe/dashboard/question"
	"lobescribe/dashboard/schema"
	"lobescribe/dashboard/sheet"
	"lobescribe/storage"
	"lobescribe/storage/shop"
)

// route is one call of the API.
type route struct {
	pattern string
	do      func(w http.ResponseWriter, r *http.Request) error
	device  bool // names a device, or puts one in place
	joins   bool // opens the socket
	works   bool // only works something out, though it is a POST

	// For the OpenAPI document: values of the types of the body that it takes and
	// of its answer, as in [openapi.Call], and the status of a good answer where
	// it is neither 200 nor, with no answer, 204.
	asks, answers any
	status        int
}

// onlyLooks says that a call changes nothing.
func (r route) onlyLooks() bool { return r.works || strings.HasPrefix(r.pattern, "GET ") }

func (s *Server) routes() []route {
	return []route{
		{pattern: "GET /healthz", do: s.health, answers: Health{}},
		{pattern: "GET /metrics", do: s.metrics, answers: openapi.File("text/plain")},

		{pattern: "GET /api/v1/live", do: s.live, joins: true, answers: openapi.Any{}, status: 101},
		{pattern: "GET /api/v1/state", do: s.state, answers: openapi.Named("live.json#/$defs/hello")},

		{pattern: "GET /api/v1/traces", do: s.listTraces, answers: openapi.Named("traces.json")},
		{pattern: "POST /api/v1/traces", do: s.importTrace, asks: openapi.File("application/octet-stream"), answers: imported{}, status: 201},
		{pattern: "GET /api/v1/traces/{id}", do: s.showTrace, answers: Trace{}},
		{pattern: "PATCH /api/v1/traces/{id}", do: s.labelTrace, asks: traceLabel{}, answers: storage.Summary{}},
		{pattern: "POST /api/v1/traces/{id}/left-out", do: s.leaveOut, asks: strike{}, answers: nowLeftOut{}},
		{pattern: "DELETE /api/v1/traces/{id}/left-out", do: s.takeBack, answers: nowLeftOut{}},
		{pattern: "PUT /api/v1/traces/{id}/note", do: s.note, asks: notedAt{}, answers: live.Noted{}},
		{pattern: "POST /api/v1/trace/left-out", do: s.scratch, asks: strike{}, answers: nowLeftOut{}},
		{pattern: "DELETE /api/v1/trace/left-out", do: s.unscratch, answers: nowLeftOut{}},
		{pattern: "GET /api/v1/traces/{id}/series", do: s.showSeries, answers: shownSeries{}},
		{pattern: "GET /api/v1/traces/{id}/export", do: s.exportTrace, answers: openapi.File("*/*")},

		{pattern: "GET /api/v1/traces/{id}/timing", do: s.traceTiming, answers: shownTiming{}},
		{pattern: "GET /api/v1/timing", do: s.pairTiming, answers: timing.Result{}},
		{pattern: "GET /api/v1/difference", do: s.difference, answers: timing.Result{}},

		{pattern: "POST /api/v1/replay", do: s.startReplay, asks: replayStart{}},
		{pattern: "PATCH /api/v1/replay", do: s.adjustReplay, asks: replay.Change{}},
		{pattern: "DELETE /api/v1/replay", do: s.stopReplay},
		{pattern: "POST /api/v1/mark", do: s.mark},
		{pattern: "DELETE /api/v1/mark", do: s.unmark},
		{pattern: "POST /api/v1/trace/end", do: s.endTrace},

		{pattern: "GET /api/v1/bench", do: s.showBench, answers: live.Selection{}},
		{pattern: "PUT /api/v1/bench", do: s.changeBench, asks: benchChange{}, answers: live.Selection{}},
		{pattern: "GET /api/v1/settings", do: s.showSettings, answers: live.Settings{}},
		{pattern: "PUT /api/v1/settings", do: s.changeSettings, asks: live.Settings{}, answers: live.Settings{}},

		{pattern: "GET /api/v1/engines", do: s.listEngines, answers: []storage.Engine{}},
		{pattern: "POST /api/v1/engines", do: s.addEngine, asks: storage.Engine{}, answers: storage.Engine{}, status: 201},
		{pattern: "GET /api/v1/engines/{id}", do: s.showEngine, answers: storage.Engine{}},
		{pattern: "PUT /api/v1/engines/{id}", do: s.changeEngine, asks: storage.Engine{}, answers: storage.Engine{}},
		{pattern: "DELETE /api/v1/engines/{id}", do: s.deleteEngine},
		{pattern: "GET /api/v1/engines/{id}/valves", do: s.valves, answers: []valveState{}},
		{pattern: "GET /api/v1/engines/{id}/next", do: s.nextStack, works: true, answers: question.Asked[shims.Question, shims.Answer]{}},
		{pattern: "GET /api/v1/engines/{id}/rocker", do: s.rockerOf, works: true, answers: question.Asked[rocker.Question, rocker.Answer]{}},
		{pattern: "GET /api/v1/engines/{id}/sweep", do: s.sweepOf, works: true, answers: question.Asked[question.SweepTraces, question.SweepOf]{}},
		{pattern: "GET /api/v1/engines/{id}/gate", do: s.showGate, answers: sheet.Gate{}},
		{pattern: "PUT /api/v1/engines/{id}/gate/{item}", do: s.waive, asks: waiver{}, answers: sheet.Gate{}},
		{pattern: "DELETE /api/v1/engines/{id}/gate/{item}", do: s.unwaive, answers: sheet.Gate{}},
		{pattern: "GET /api/v1/engines/{id}/sheet", do: s.showSheet, answers: openapi.File("text/html")},
		{pattern: "GET /api/v1/engines/{id}/csv", do: s.showNumbers, answers: openapi.File("text/csv")},
		{pattern: "GET /api/v1/engines/{id}/trials", do: s.listTrials, answers: []storage.Trial{}},
		{pattern: "POST /api/v1/engines/{id}/trials", do: s.addTrial, asks: storage.Trial{}, answers: storage.Trial{}, status: 201},
		{pattern: "PUT /api/v1/trials/{id}", do: s.changeTrial, asks: storage.Trial{}, answers: storage.Trial{}},
		{pattern: "DELETE /api/v1/trials/{id}", do: s.deleteTrial},
		{pattern: "GET /api/v1/trials/{id}/photographs", do: s.listPhotographs, answers: []storage.Photograph{}},
		{pattern: "POST /api/v1/trials/{id}/photographs", do: s.addPhotograph, asks: photographSent{}, answers: storage.Photograph{}, status: 201},
		{pattern: "GET /api/v1/trials/{id}/photo", do: s.photographsSay, works: true, answers: photo.Answer{}},
		{pattern: "PUT /api/v1/photographs/{id}", do: s.markPhotograph, asks: photographSent{}, answers: storage.Photograph{}},
		{pattern: "DELETE /api/v1/photographs/{id}", do: s.deletePhotograph},
		{pattern: "GET /api/v1/photographs/{id}/picture", do: s.showPicture, answers: openapi.File("image/jpeg")},

		{pattern: "GET /api/v1/engines/{id}/works", do: s.listWorks, answers: []storage.Work{}},
		{pattern: "POST /api/v1/engines/{id}/works", do: s.addWork, asks: storage.Work{}, answers: storage.Work{}, status: 201},
		{pattern: "PUT /api/v1/works/{id}", do: s.changeWork, asks: storage.Work{}, answers: storage.Work{}},
		{pattern: "DELETE /api/v1/works/{id}", do: s.deleteWork},

		{pattern: "POST /api/v1/calc/{what}", do: s.calculate, works: true},
		{pattern: "GET /api/v1/schema", do: s.listSchemas, answers: []schema.Schema{}},
		{pattern: "GET /api/v1/schema/{name}", do: s.showSchema, answers: openapi.File("application/schema+json")},
		{pattern: "GET /api/v1/openapi.json", do: s.showOpenAPI, answers: openapi.File("application/json")},
		{pattern: "GET /api/v1/backup", do: s.backup, answers: openapi.File("application/octet-stream")},
		{pattern: "GET /api/v1/repairs", do: s.listRepairs, answers: []storage.Repaired{}},
		{pattern: "DELETE /api/v1/repairs/{id}", do: s.dismissRepair},

		{pattern: "GET /api/v1/shop", do: s.showShop, answers: shopNow{}},
		{pattern: "GET /api/v1/shop/engines", do: s.listOffers, answers: []shop.Offer{}},
		{pattern: "POST /api/v1/shop/engines", do: s.fetchEngine, asks: shop.Ref{}, answers: shop.Fetched{}},
		{pattern: "GET /api/v1/spread", do: s.showSpread, answers: typeSpread{}},

		{pattern: "GET /api/v1/ports", do: s.ports, answers: []Port{}},
		{pattern: "GET /api/v1/devices", do: s.devices, answers: []live.Device{}},
		{pattern: "POST /api/v1/devices/preview", do: s.preview, device: true, asks: addressed{}, answers: Preview{}},
		{pattern: "POST /api/v1/devices/probe", do: s.probe, device: true, asks: addressed{}, answers: Probed{}},
		{pattern: "PUT /api/v1/devices/{role}", do: s.connect, device: true, asks: addressed{}},
		{pattern: "DELETE /api/v1/devices/{role}", do: s.disconnect, device: true},
		{pattern: "POST /api/v1/simulator", do: s.simulate, device: true, asks: switched{}},
		{pattern: "POST /api/v1/delay", do: s.measureDelay, answers: DelayProgress{}},
		{pattern: "PUT /api/v1/delay", do: s.keepDelay},
		{pattern: "DELETE /api/v1/delay", do: s.dropDelay},
		{pattern: "GET /api/v1/proof", do: s.showProof, answers: live.ProofNow{}},
		{pattern: "POST /api/v1/prove", do: s.beginProving},
		{pattern: "PUT /api/v1/prove", do: s.finishProving},
		{pattern: "DELETE /api/v1/prove", do: s.dropProving},
	}
}
