package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"makebreak/rig/licences"
)

// Comments that a licence asks to hand on, and others.
func TestIsNotice(t *testing.T) {
	for text, want := range map[string]bool{
		"Copyright 2009 The Go Authors. All rights reserved.\nUse of this source code is governed by a BSD-style\nlicense that can be found in the LICENSE file.": false,
		"Copyright (C) 1993 by Sun Microsystems, Inc. Permission to use, copy, modify, and distribute this\nsoftware is freely granted":                           true,
		"Portions Copyright 2009 The Go Authors. Permission is hereby granted, free of charge":                                                                    true,
		"This code is in the public domain.":                                   true,
		"The author disclaims copyright to this source code; public domain":    false,
		"Licensed under the Apache License, Version 2.0; Copyright 2020 Some.": false,
		"permission denied": false,
	} {
		if got := isNotice(text); got != want {
			t.Errorf("%t: %s", got, text)
		}
	}
}

// Code under a General Public License is refused; numbers and types out of headers are not.
func TestNotices_General(t *testing.T) {
	const notice = "// Copyright (C) Some. You can redistribute it under the GNU Lesser General Public License.\n"
	for name, c := range map[string]struct {
		text string
		bad  bool
	}{
		"types.go":   {"package x\n" + notice + "type T int\nconst N = 1\n", false},
		"code.go":    {"package x\n" + notice + "func F() {}\n", true},
		"code.s":     {notice + "TEXT x(SB)\n", true},
		"another.go": {"package x\nfunc F() {}\n", false},
	} {
		path := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(path, []byte(c.text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := notices(path); (err != nil) != c.bad {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// What differs from what is kept is named: a module more or less, a version, a text.
func TestCompare(t *testing.T) {
	of := func(version, text string, more ...string) *licences.Collection {
		c := &licences.Collection{Go: "go1", Texts: []string{text}}
		for _, name := range append([]string{"a.example/a", licences.Library}, more...) {
			c.Parts = append(c.Parts, licences.Part{Name: name, Version: version, Licence: "MIT", Texts: []licences.Text{{From: "LICENSE"}}})
		}
		return c
	}
	for name, c := range map[string]struct {
		now  *licences.Collection
		want string
	}{
		"the same":  {of("v1", "text"), ""},
		"a version": {of("v2", "text"), "kept and not linked in: a.example/a v1"},
		"a text":    {of("v1", "other"), "its texts have changed: a.example/a"},
		"one more":  {of("v1", "text", "b.example/b"), "linked in and not kept: b.example/b"},
	} {
		err := compare(of("v1", "text"), c.now)
		if (err != nil) != (c.want != "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
