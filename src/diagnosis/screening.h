// All sets of one and two faults, scored quickly, so that only the promising ones are
// weighed with care. Pure.
#pragma once

#include <cstddef>
#include <utility>
#include <vector>

#include "diagnosis/likelihood.h"
#include "network/sweep.h"

namespace pinproof::diagnosis {

/// A set of faults with sizes to start from; `misfit` is a rough chi-squared.
struct Candidate {
  std::vector<Guess> guesses;
  double misfit = 0;
  double log_prior = 0;
  double score() const { return misfit / 2 - log_prior; }
};

class Screening {
 public:
  /// `log_prior` of each suspect, as one fault among several. All must outlive this.
  Screening(const Scene& scene, const std::vector<Suspect>& suspects,
            const std::vector<double>& log_prior, const std::vector<Observation>& readings);

  /// Every suspect alone, at the size that suits the worst reading best.
  std::vector<Candidate> singles();
  /// The best of all pairs: those whose score is within `margin` of the best, at most `most`.
  std::vector<Candidate> doubles(std::size_t most, double margin);
  /// The best with one more fault than the given sets.
  std::vector<Candidate> one_more(const std::vector<Candidate>& sets, std::size_t most,
                                  double margin);

 private:
  class Best;
  // A suspect that changes the network between two nodes only, and by how much in each of
  // the used situations where its size is known.
  struct Simple {
    std::size_t suspect;
    std::vector<double> siemens;
  };
  void stand_on(const std::vector<Guess>& guesses);
  std::pair<std::size_t, std::size_t> ends_of(const Suspect& suspect) const;
  std::vector<double> siemens_of(const Suspect& suspect, double size) const;
  std::vector<double> sizes_for(const Suspect& suspect) const;
  std::vector<Candidate> starts_of(std::size_t suspect);
  void add_second(const Candidate& first, Best& best);
  void add_two_orders(Best& best) const;
  std::vector<std::size_t> from_of(const Suspect& suspect) const;
  double moved_misfit(const std::vector<std::size_t>& from) const;

  const Scene& scene_;
  const std::vector<Suspect>& suspects_;
  const std::vector<double>& log_prior_;
  std::vector<std::size_t> used_;  // situations with readings; networks of the sweep
  std::vector<network::Sighting> sightings_;
  network::FaultSweep sweep_;
  std::vector<Simple> simple_;
  std::vector<std::size_t> orders_;  // suspects that move pins and nothing else
  // What the sweep stands on.
  std::vector<network::Altering> standing_;
  std::vector<const network::Resistances*> tables_;
  std::vector<std::size_t> worst_;
};

}  // namespace pinproof::diagnosis
