package table

import (
	"bytes"
	"encoding/json"
	"groundline/report/paths"
	"io"
	"os"

	"github.com/parquet-go/parquet-go"
)

// Schema names the layout of the stride table. Columns are added, never renamed.
const Schema = "groundline.strides/1"

// Provenance says what a table was made of and by what. The same input, program and settings give the same
// bytes, so it holds no time of making.
type Provenance struct {
	Schema     string     `json:"schema"`
	Program    string     `json:"program"` // and its version
	Settings   Settings   `json:"settings"`
	Shard      string     `json:"shard"`     // "2/8"; "1/1" for all
	Partition  string     `json:"partition"` // the column that names the folders; "" for none
	Recordings []Source   `json:"recordings"`
	Failed     []Failure  `json:"failed"` // rides that gave no rows
	Columns    []ColumnOf `json:"columns"`
}

// ColumnOf is a column's entry in the provenance.
type ColumnOf struct {
	Name string `json:"name"`
	Unit string `json:"unit"`
}

// Source is one ride of the table.
type Source struct {
	Recording string   `json:"recording"`
	Horse     string   `json:"horse"`
	Round     string   `json:"round"`             // label as given
	Columns   string   `json:"columns,omitempty"` // of its own; "" for the settings'
	Rows      int      `json:"rows"`
	Files     []File   `json:"files"`
	Course    *File    `json:"course"` // nil without a plan
	Warnings  []string `json:"warnings"`
}

// File is one input.
type File struct {
	Name   string `json:"name"` // as given; "" without places
	SHA256 string `json:"sha256"`
	Bytes  int64  `json:"bytes"`
}

// Failure is a ride that could not be told.
type Failure struct {
	Recording string `json:"recording"` // "" without places
	Why       string `json:"why"`       // "" without places
}

// NewProvenance is that of a table without a ride yet.
func NewProvenance(program string, set Settings, shard, partition string) Provenance {
	p := Provenance{Schema: Schema, Program: program, Settings: set, Shard: shard, Partition: partition, Recordings: []Source{}, Failed: []Failure{}}
	for _, c := range Columns() {
		p.Columns = append(p.Columns, ColumnOf{c.Name, c.Unit})
	}
	return p
}

// Add takes up a ride.
func (p *Provenance) Add(r *Result) {
	if r.Err != nil {
		f := Failure{Recording: r.Source.Recording, Why: r.Err.Error()}
		if p.Settings.WithoutPlaces {
			f = Failure{}
		}
		p.Failed = append(p.Failed, f)
		return
	}
	p.Recordings = append(p.Recordings, r.Source)
}

// JSON writes the provenance as one indented JSON object.
func (p Provenance) JSON(w io.Writer) error {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", " ")
	return enc.Encode(p)
}

// keyValues is what the footer of a Parquet file holds: all of it as one JSON object, and what people look for first
// by itself.
func (p Provenance) keyValues() [][2]string {
	var all bytes.Buffer
	enc := json.NewEncoder(&all)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(p); err != nil {
		panic("provenance holds what JSON can't: " + err.Error()) // plain strings and numbers: can't be
	}
	return [][2]string{
		{"groundline.program", p.Program},
		{"groundline.provenance", string(bytes.TrimSpace(all.Bytes()))},
		{"groundline.schema", p.Schema},
	}
}

// ShardOf is the shard that the table in a file is, as "2/8"; "" where the file is none or does not tell.
func ShardOf(name string, f Format) string {
	var p Provenance
	if f != Parquet {
		data, err := os.ReadFile(name + paths.SidecarEnding)
		if err != nil || json.Unmarshal(data, &p) != nil {
			return ""
		}
		return p.Shard
	}
	in, err := os.Open(name)
	if err != nil {
		return ""
	}
	defer in.Close()
	info, err := in.Stat()
	if err != nil {
		return ""
	}
	table, err := parquet.OpenFile(in, info.Size(), parquet.SkipPageIndex(true), parquet.SkipBloomFilters(true))
	if err != nil {
		return ""
	}
	said, _ := table.Lookup("groundline.provenance")
	if json.Unmarshal([]byte(said), &p) != nil {
		return ""
	}
	return p.Shard
}
