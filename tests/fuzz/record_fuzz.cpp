// Any bytes are a record or an Error. What loads is written and read back to the same bytes, and
// can be judged under both packs of profiles/.
#include "judging.h"
#include "packs.h"
#include "record/json.h"
#include "record/readings.h"
#include "targets.h"

namespace pinproof::fuzz {
namespace {

void judge_as(const profile::Profile& profile, record::Record record) {
  record.header.profile_name = profile.name;
  accepted([&] { (void)judged(profile, record); });
}

}  // namespace

void try_record(std::string_view input) {
  accepted(
      [&] {
        const auto record = record::from_json(input, kFile);
        const std::string written = record::to_json(record);
        const auto again = record::from_json(written, kFile);
        expect(record::to_json(again) == written, "written and read, the same", written);
        for (const auto& event : record.events)
          (void)record::event_from_json(record::event_to_json(event), kFile);
        (void)record::readings_of(record);
        judge_as(four_speed(), record);
        judge_as(six_speed(), record);
      },
      kFile);
}

}  // namespace pinproof::fuzz
