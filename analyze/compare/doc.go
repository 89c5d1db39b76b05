// Package compare says which figures of a run moved since another run by more than their
// uncertainties allow.
//
// Of each quantity of each signal at each event the cycles' means of both runs are compared.
// The uncertainty of their difference is made of
//
//   - what scatters from cycle to cycle, with √n less of it in the mean (JCGM 100, 4.2.3),
//   - what stays as it is within a run and may be another in the next, as a temperature,
//   - what stays as it is on a rig. In two runs on one rig it is the same in both means and
//     leaves the difference but for what it adds more to the one than to the other (JCGM 100,
//     5.2.2, equation 16 with a correlation coefficient of 1). On two rigs it counts twice.
//
// A difference is judged by Student's distribution with the effective degrees of freedom of
// Welch and Satterthwaite (JCGM 100, G.4.1). A comparison has many rows, of which some differ
// by chance. Holm's procedure (Scandinavian Journal of Statistics 6, 1979, 65) keeps it at one
// comparison in twenty, at most, that says of an unchanged unit that anything has moved.
//
// Clauses and equations are cited from memory.
package compare
