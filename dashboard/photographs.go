package dashboard

import (
	"bytes"
	"encoding/json"
	"net/http"
	"strconv"

	"lobescribe/capture/rocker/photo"
	"lobescribe/capture/worksheet"
	"lobescribe/dashboard/question"
	"lobescribe/storage"
	"lobescribe/storage/picture"
)

// photographSent is a photograph on its way in: the picture (base64 in JSON, as
// everything that changes something comes as JSON) and its marks.
type photographSent struct {
	Rev     storage.Rev     `json:"rev"`
	Picture []byte          `json:"picture"`
	Marks   json.RawMessage `json:"marks"`
}

// mostPhotograph is a picture in base64 and its marks.
const mostPhotograph = picture.MostBytes*4/3 + 64<<10

func (s *Server) readPhotograph(w http.ResponseWriter, r *http.Request) (in photographSent, err error) {
	b, err := body(w, r, mostPhotograph)
	if err != nil {
		return in, err
	}
	if err := decode(b, &in); err != nil {
		return in, err
	}
	if len(in.Marks) > 0 {
		var marks photo.Photograph
		if err := worksheet.Read(bytes.NewReader(in.Marks), &marks); err != nil {
			return in, unanswered(err)
		}
	}
	return in, nil
}

func (s *Server) addPhotograph(w http.ResponseWriter, r *http.Request) error {
	in, err := s.readPhotograph(w, r)
	if err != nil {
		return err
	}
	done, err := s.alone(r.Context()) // one picture is unpacked at a time
	if err != nil {
		return err
	}
	defer done()
	clean, err := picture.Take(in.Picture)
	if err != nil {
		return wrong("picture", "%s", sentence(err))
	}
	p, err := s.store.PutPhotograph(storage.Photograph{Trial: r.PathValue("id"), At: s.o.Clock().UTC(), JPEG: clean.JPEG, Width: clean.Width, Height: clean.Height, Marks: in.Marks})
	if err != nil {
		return err
	}
	p.JPEG = nil
	answer(w, http.StatusCreated, p)
	return nil
}

func (s *Server) listPhotographs(w http.ResponseWriter, r *http.Request) error {
	if _, err := s.store.Trial(r.PathValue("id")); err != nil {
		return err
	}
	list, err := s.store.Photographs(r.PathValue("id"))
	if err := partly(err, len(list)); err != nil {
		return err
	}
	for i := range list {
		list[i].JPEG = nil
	}
	answer(w, http.StatusOK, list)
	return nil
}

// markPhotograph stores other marks; the picture stays.
func (s *Server) markPhotograph(w http.ResponseWriter, r *http.Request) error {
	in, err := s.readPhotograph(w, r)
	if err != nil {
		return err
	}
	if len(in.Picture) > 0 {
		return wrong("picture", "A picture is not changed: send marks alone, or take another photograph.")
	}
	p, err := s.store.Photograph(r.PathValue("id"))
	if err != nil {
		return err
	}
	p.Rev, p.Marks = in.Rev, in.Marks
	if p, err = s.store.PutPhotograph(p); err != nil {
		return err
	}
	p.JPEG = nil
	answer(w, http.StatusOK, p)
	return nil
}

func (s *Server) showPicture(w http.ResponseWriter, r *http.Request) error {
	p, err := s.store.Photograph(r.PathValue("id"))
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "image/jpeg")
	w.Header().Set("X-Content-Type-Options", "nosniff")
	w.Header().Set("Content-Security-Policy", "sandbox; default-src 'none'")
	w.Header().Set("Content-Length", strconv.Itoa(len(p.JPEG)))
	w.Header().Set("Cache-Control", "private, max-age=3600") // a picture never changes
	_, err = w.Write(p.JPEG)
	return err
}

func (s *Server) deletePhotograph(w http.ResponseWriter, r *http.Request) error {
	rev, err := revision(r)
	if err != nil {
		return err
	}
	if err := s.store.DeletePhotograph(r.PathValue("id"), rev); err != nil {
		return err
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

// photographsSay answers what the marked photographs of a trial say together.
func (s *Server) photographsSay(w http.ResponseWriter, r *http.Request) error {
	t, err := s.store.Trial(r.PathValue("id"))
	if err != nil {
		return err
	}
	e, err := s.store.Engine(t.Engine)
	if err != nil {
		return err
	}
	list, err := s.store.Photographs(t.ID)
	if err != nil {
		return err
	}
	q, err := question.Photographs(e, t, list)
	if err != nil {
		return unanswered(err)
	}
	done, err := s.alone(r.Context())
	if err != nil {
		return err
	}
	defer done()
	a, err := photo.Solve(q)
	if err != nil {
		return unanswered(err)
	}
	if said, ok := question.ByCalipers(a, t); ok {
		a.Says = append(a.Says, said)
	}
	answerIn(w, r, a)
	return nil
}
