// Package printer makes a PDF of a page that stands alone, by an installed Chromium. It
// fetches nothing; scripts are forbidden by the page itself.
package printer
