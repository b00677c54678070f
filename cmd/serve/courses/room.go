// Package courses is the courses: the list, a plan walked for a horse, its versions and files.
package courses

import (
	"embed"
	"groundline/cmd/serve/editor"
	"groundline/cmd/serve/horses"
	"groundline/cmd/serve/shell"
)

//go:embed all:templates
var templates embed.FS

// Room is the pages and the interface of courses.
type Room struct {
	*shell.Shell
	horses *horses.Room
	editor *editor.Room
}

// New adds the room to the shell.
func New(sh *shell.Shell, horse *horses.Room, edit *editor.Room) *Room {
	sh.Add(templates)
	return &Room{Shell: sh, horses: horse, editor: edit}
}
