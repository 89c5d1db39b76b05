// Package trend follows one quantity of a unit over very many cycles in bounded
// memory: how its values spread, whether they drift or step, how often it was out
// of limits and whether that came in clusters, and whether a drift will reach a
// limit before the planned cycles are done. It knows no clock, no files and no
// unit: values go in one by one, figures come out. Package tally, which is apart for that,
// keeps one series for each quantity of a unit.
//
// A [Series] holds at most 64 KiB however long the run is:
//
//   - Mean and standard deviation by Welford's update (Knuth, The Art of Computer
//     Programming 2, 4.2.2), lag-1 autocorrelation from shifted sums.
//   - Quantiles from a t-digest (Dunning and Ertl, "Computing extremely accurate
//     quantiles using t-digests", arXiv:1902.04023); exact up to 384 values.
//   - For trends, 128 to 384 blocks of equally many successive values. The first
//     two times that blocks must be joined, three become their median, so a block
//     of nine bears four wild values; later, three become their mean. Drift and
//     step are tested on the blocks, never on single values once a run is longer
//     than 384 cycles. The last block, while incomplete, stays out: under one
//     hundredth of a run.
//   - For failures, sums over the gaps between them.
//
// Drift is tested by Mann and Kendall's rank test with Sen's slope (Sen, JASA 63
// (1968) 1379; Gilbert, Statistical Methods for Environmental Pollution
// Monitoring, 1987, chapter 16), steps by Pettitt's test (Applied Statistics 28
// (1979) 126). Both assume that blocks do not depend on each other, which they do where
// the workshop warms and cools by the day. So each of a hundred kinds of noise is weighed
// by Whittle's likelihood: white, with a hump, with a power law, with a swing. The
// probability of a test is the mean over all of them, each with the variance that it gives
// the slowest movement of a run. Weighing keeps the power where noise is white. A correction
// by the significant lags of an autocorrelation alone does not see slow noise in few blocks.
//
// A run is looked at again and again. So the level is shared among the two tests and the
// doublings of its values, and a steady run is to be called changed in at most
// [Significance] of all cases over all looks. How far that holds is measured in sequences/soak/README.md: for noise of which
// each value follows up to 0.99 of the one before, but not fully for 1/f noise. A swing
// whose period is longer than the run can't be told from a drift by any test.
//
// A drift and a step are both compared with the blocks, over all kinds of noise, all places
// of a step, and drifts over a quarter of the run or more. Only one that explains them 20
// times as well as the other is named alone.
package trend
