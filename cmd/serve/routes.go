package serve

import "net/http"

// routes are all that is answered. Each part of the page adds its own.
func (s *server) routes() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /static/{file...}", s.file)
	mux.HandleFunc("POST /units", s.setUnits)
	for _, add := range []func(*http.ServeMux){
		s.rideRoutes, s.courseRoutes, s.editorRoutes, s.horseRoutes, s.compareRoutes, s.strideRoutes, s.programRoutes,
	} {
		add(mux)
	}
	mux.HandleFunc("/", s.otherwise(mux))
	return s.manners(mux)
}
