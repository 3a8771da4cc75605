// Values of good packs for the limits of a profile.
#pragma once

#include <string>
#include <vector>

#include "findings/ids.h"
#include "metrology/learned.h"
#include "profile/learned_limits.h"
#include "profile/profile.h"
#include "record/ledger.h"

namespace pinproof::session {

/// One limit while its values are gathered.
struct Gathered {
  profile::LimitPlace place;
  findings::ResultId id;
  std::string title;  ///< for a person
  Unit unit = Unit::none;
  double wires_max_ohm = 0;
  metrology::ValuesByLot lots;
  std::vector<std::string> evidence;
  std::vector<double> u;
  std::size_t without_value = 0;

  bool is(const record::Figure& f) const { return f.id() == id; }
};

/// For a limit of this profile, with room for so many lots.
Gathered gathered(const profile::Profile& profile, const profile::LimitPlace& place,
                  std::size_t lots);

/// Values of the good packs. What nobody had a limit for was never judged: it is read from the
/// record's captures now.
class Values {
 public:
  Values(const record::Ledger& ledger, const profile::Profile& profile)
      : ledger_(ledger), profile_(profile), open_(profile::with_all_limits(profile)) {}

  void read(const record::Attempt& attempt, std::size_t lot, std::vector<Gathered>& all);
  std::size_t judged = 0;

 private:
  void judge_again(const record::Attempt& attempt, std::vector<record::Figure>& figures);

  const record::Ledger& ledger_;
  const profile::Profile& profile_;
  profile::Profile open_;
};

}  // namespace pinproof::session
