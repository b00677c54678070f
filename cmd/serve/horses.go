package serve

import "net/http"

// horseRoutes are the horses and their records.
func (s *server) horseRoutes(mux *http.ServeMux) {}
