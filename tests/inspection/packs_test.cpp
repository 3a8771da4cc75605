// The packs on which the other programs try what must hold of every record: they are what they are
// meant to be, a reloaded record is the same bytes, and so are its reports; then they are kept.
#include "inspection/packs.h"

#include <doctest/doctest.h>

#include "record/json.h"
#include "report/formats.h"

using namespace pinproof;
using inspection::Judgement;
using tests::Pack;

namespace {

// With the instruments, once for all cases.
const std::vector<Pack>& fresh() {
  static const std::vector<Pack> all = tests::inspected_packs();
  return all;
}

// Its reports, in the order of their formats.
std::vector<std::string> reports(const Pack& pack, const record::Record& record) {
  const Judgement judgement = inspection::judge(pack.profile, record);
  std::vector<std::string> out;
  for (const auto& format : report::formats())
    out.push_back(report::render(format.name, {&pack.profile, &record, &judgement, true}));
  return out;
}

}  // namespace

TEST_CASE("the packs are what they are meant to be") {
  for (const Pack& pack : fresh()) {
    INFO(pack.name);
    CHECK(pack.accepted() != pack.faulty);
  }
}

TEST_CASE("a reloaded record is the same bytes, and so are its reports in every format") {
  for (const Pack& pack : fresh()) {
    INFO(pack.name);
    const std::string json = record::to_json(pack.record());
    const record::Record again = record::from_json(json, "record.json");
    CHECK(record::to_json(again) == json);
    const auto first = reports(pack, pack.record()), second = reports(pack, again);
    for (std::size_t k = 0; k < report::formats().size(); ++k) {
      INFO(report::formats()[k].name);
      CHECK(first[k].size() > 1000);
      CHECK(second[k] == first[k]);
    }
  }
}

TEST_CASE("and they are kept for the other programs") {
  // By hand there is no folder, and nothing to keep.
  if (!tests::keep(fresh())) return;
  const auto& kept = tests::packs();
  REQUIRE(kept.size() == fresh().size());
  for (std::size_t k = 0; k < kept.size(); ++k) {
    INFO(kept[k].name);
    CHECK(kept[k].inspected.exit_code == fresh()[k].inspected.exit_code);
    CHECK(record::to_json(kept[k].record()) == record::to_json(fresh()[k].record()));
  }
}
