package serve

import "net/http"

// compareRoutes are the comparison of rides.
func (s *server) compareRoutes(mux *http.ServeMux) {}
