// Which question to ask next, until the fault has a name. Pure.
#pragma once

#include <optional>
#include <vector>

#include "diagnosis/probes.h"
#include "diagnosis/rank.h"

namespace pinproof::diagnosis {

struct Choice {
  std::size_t probe = 0;  ///< index into the probes
  double bits = 0;        ///< expected information about which explanation holds
  double cost = 0;        ///< in probings
};

/// The probe with the most expected information per cost (de Kleer and Williams 1987, one step
/// ahead): entropy of the outcome under the explanations, outcomes being told apart when they
/// differ by more than tolerances and noise. nullopt where none tells anything.
std::optional<Choice> most_telling(const Scene& scene, const std::vector<Probe>& probes,
                                   const std::vector<Explanation>& explanations,
                                   const std::vector<bool>& asked, std::size_t situation_now,
                                   const Effort& effort, double noise_ohm = 0.05);

struct SearchOptions {
  SharedErrors shared;
  Priors priors;
  Effort effort;
  double noise_ohm = 0.05;        ///< what readings near nothing differ by
  double sure = 0.99;             ///< a name with this probability ends the search
  double least_bits = 0.02;       ///< a question that promises less is not asked
  std::size_t most = 60;          ///< questions, at most
  std::size_t confirmations = 2;  ///< a name is tried on so many readings that it foretells
  /// The list is gone through to its end though a fault has a name: for second faults, and for
  /// those that only look like the first.
  bool thorough = false;
};

/// Follows the go/no-go list while all is normal; leaves it for the most telling probe once
/// something is not.
class Search {
 public:
  /// `list`: indices into `probes`, see cover.h. All must outlive the search.
  Search(const Scene& scene, const std::vector<Suspect>& suspects, const std::vector<Probe>& probes,
         std::vector<std::size_t> list, SearchOptions options);

  /// The question to ask; nullopt when there is nothing more to ask.
  std::optional<Choice> next() const { return next_; }
  /// What came of a probe, asked for or not.
  void add(const Observation& reading);
  void add_all(const std::vector<Observation>& readings);
  /// A question that cannot be asked.
  void skip(std::size_t probe);

  const std::vector<Observation>& readings() const { return readings_; }
  /// Weighs all explanations of the readings so far, unless that is done already: not const.
  const Ranking& ranking();
  bool normal() const { return normal_; }

 private:
  void choose();
  std::optional<Choice> chosen();
  std::optional<Choice> pointed_at_by_codes();
  std::optional<Choice> after_the_unknown();
  std::optional<Choice> telling(double least_bits);
  std::optional<Choice> trying(const Explanation& best, std::size_t times);
  std::size_t situation_now() const;
  std::optional<Choice> from_list() const;
  std::optional<Choice> confirming(const Explanation& named) const;
  Choice choice_of(std::size_t probe, double bits) const;

  const Scene& scene_;
  const std::vector<Suspect>& suspects_;
  const std::vector<Probe>& probes_;
  std::vector<std::size_t> list_;
  SearchOptions options_;
  std::vector<Observation> readings_;
  std::vector<bool> asked_;
  bool normal_ = true;
  std::vector<const Suspect*> named_;  ///< tried on `confirmed_` readings since it has its name
  std::size_t confirmed_ = 0;
  int unknown_ = 0;                 ///< readings since nothing known explains them
  std::optional<Ranking> ranking_;  ///< of the readings so far, once somebody wanted it
  std::optional<Choice> next_;
};

}  // namespace pinproof::diagnosis
