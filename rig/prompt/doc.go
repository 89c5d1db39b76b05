// Package prompt talks with the person at the bench: it shows texts and questions on one
// stream and reads lines from another. The lines may come from a terminal, a file or a
// pipe; where they end, nobody is there any more.
package prompt
