// Package exercise lets a trainee find what is wrong on a bench. An exercise is a story, a
// sequence and a hidden state of the simulated bench: no fault, one or two. The trainee does
// what a technician can, answers by cause and place, and is marked.
package exercise
