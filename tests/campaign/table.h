// What came of the cases, counted and with the bounds that the counts allow.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "campaign/cases.h"

namespace pinproof::campaign {

struct Came {
  Case one;
  int exit_code = 0;
  bool threw = false;
  std::optional<bool> named;  ///< a finding says what it is; nothing where that is not clear
  std::string why;            ///< the first check that did not pass

  bool accepted() const { return !threw && exit_code == 0; }
  bool rejected() const { return !threw && exit_code == 1; }
  bool false_accept() const { return accepted() && one.bad_pack() && !one.by_chance(); }
  bool false_reject() const { return rejected() && !one.bad_pack(); }
  bool good_on_good() const { return one.stratum == Stratum::good; }
};

/// Whether a finding names the fault; nothing for classes that may look like several.
std::optional<bool> named_right(const PackFault& fault, const inspection::Judgement& judgement);

/// Three tables, and every case that must not be, with how to repeat it.
std::string table_text(const std::vector<Came>& all, std::uint64_t seed);
std::string table_json(const std::vector<Came>& all, std::uint64_t seed);

/// No bad pack accepted, nothing thrown, and at most one good pack of a thousand rejected.
bool holds(const std::vector<Came>& all);

}  // namespace pinproof::campaign
