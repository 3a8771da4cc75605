// What the page is told of a lever's rows: "right" only where somebody has looked.
#include "paths.h"
#include "screen/findings.h"

#include <doctest/doctest.h>

#include <string>

#include "profile/load.h"

namespace pinproof::screen {
namespace {

lever::Study study_of_good_pack() {
  lever::Study out;
  out.code =
      lever::code_of(profile::load_profile(pinproof::tests::source_dir() + "/profiles/six-speed-20-pin.json"));
  out.seen.observed = lever::nothing_of(out.code);
  for (std::size_t p = 0; p < out.code.positions.size(); ++p) {
    const lever::Mask readable = out.code.readable(p);
    out.seen.observed.words[p] = {out.code.words[p].closed & readable, readable};
  }
  return out;
}

// What the page is told of one position under a name: "true", "null", "\"0111\"".
std::string told(const lever::Study& study, std::size_t position, const std::string& name) {
  const std::string json = lever_result_json(study);
  const auto row = json.find("{\"position\":\"" + study.code.positions[position] + "\"");
  REQUIRE(row != std::string::npos);
  const std::string key = "\"" + name + "\":";
  const auto begin = json.find(key, row) + key.size();
  return json.substr(begin, json.find_first_of(",}", begin) - begin);
}

TEST_CASE("a row that was read and is right is right") {
  const auto study = study_of_good_pack();
  for (std::size_t p = 0; p < study.code.positions.size(); ++p)
    CHECK(told(study, p, "ok") == "true");
}

TEST_CASE("a row that was not read, or not whole, is neither right nor wrong") {
  auto study = study_of_good_pack();
  study.seen.observed.words[0] = {};
  lever::Word& second = study.seen.observed.words[1];
  second.known &= ~lever::Mask{1}, second.closed &= ~lever::Mask{1};
  CHECK(told(study, 0, "ok") == "null");
  CHECK(told(study, 1, "ok") == "null");
  CHECK(told(study, 2, "ok") == "true");
  study.seen.observed = lever::nothing_of(study.code);
  for (std::size_t p = 0; p < study.code.positions.size(); ++p)
    CHECK(told(study, p, "ok") == "null");
}

TEST_CASE("one wrong bit is wrong, whatever was not read beside it") {
  auto study = study_of_good_pack();
  study.seen.observed.words[0] = {~study.code.words[0].closed & lever::Mask{1}, 1};
  CHECK(told(study, 0, "ok") == "false");
}

TEST_CASE("a weak contact is not right, and the row shows which it is") {
  auto study = study_of_good_pack();
  study.seen.observed.weak[3] = 1;
  lever::Word& word = study.seen.observed.words[3];
  word.known &= ~lever::Mask{1}, word.closed &= ~lever::Mask{1};
  CHECK(told(study, 3, "ok") == "false");
  CHECK(told(study, 3, "seen").substr(0, 2) == "\"w");
  study.seen.observed.weak.clear();  // of codes that somebody wrote down
  CHECK(told(study, 3, "ok") == "null");
}

TEST_CASE("a contact that nobody can read there holds no row back") {
  auto study = study_of_good_pack();
  study.code.hidden[2] |= 1;
  lever::Word& word = study.seen.observed.words[2];
  word.known &= ~lever::Mask{1}, word.closed &= ~lever::Mask{1};
  CHECK(told(study, 2, "ok") == "true");
}

}  // namespace
}  // namespace pinproof::screen
