package serve

import "net/http"

// courseRoutes are the courses: the list, a course walked for a horse, attempts at its lines.
func (s *server) courseRoutes(mux *http.ServeMux) {}
