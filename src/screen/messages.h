// What the page is told, as one line of JSON each. Numbers come ready for people; those that are
// drawn come in SI as well.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "inspection/checks/judgement.h"
#include "inspection/checks/plan.h"
#include "profile/profile.h"
#include "record/record.h"

namespace pinproof::screen {

/// What somebody has asked for. Texts are limited in length by the reader, see desk.h.
struct Wish {
  std::string work;  ///< "inspect", "diagnose" or "lever"
  std::string profile, bench;
  std::string serial, lot, note;
  bool only_static = false;
  std::vector<std::string> codes;
  std::string resume = "no";  ///< "go-on" or "anew" where an inspection was cut off
  std::optional<double> celsius;
};

/// How pins are called.
using PinName = std::string (*)(const profile::Profile& profile, const std::string& node);

struct RunTold {
  std::uint64_t run = 0;
  const Wish* wish = nullptr;
  std::string profile_name, bench_name, level, started_at, lot, note;
  bool by_hand = false;
};
std::string run_json(const RunTold& told);

/// Name of the message and its line; nothing for what the page is not told of.
struct Told {
  std::string name, data;
};
std::optional<Told> event_json(const record::Event& event);
/// At most so many points of a capture, smallest and largest of each group, so that no spike is
/// lost.
inline constexpr std::size_t kPoints = 600;

std::string results_json(const std::vector<inspection::Result>& results);
std::string finding_json(const inspection::Finding& finding);
std::string marks_json(const inspection::CoilTrace& trace);
std::string lever_table_json(const std::vector<inspection::LeverRow>& rows,
                             const std::string& here);

struct VerdictTold {
  const inspection::Judgement* judgement = nullptr;
  const record::Header* header = nullptr;
  bool kept = false;  ///< there is a record to open
};
std::string verdict_json(const VerdictTold& told);

struct ProgressTold {
  std::size_t done = 0, of = 0;
  std::optional<double> left_s;
  std::string check, subject;
};
std::string progress_json(const ProgressTold& told);

struct AskTold {
  std::uint64_t n = 0;
  std::string kind = "none";  ///< "look", "touch", "do", "text"
  std::string title, text, caution, expected, all_of, question;
  std::vector<std::string> red, black;  ///< nodes
  std::string red_name, black_name;
  std::vector<std::string> actions;
};
std::string ask_json(const AskTold& told);

struct LiveTold {
  std::uint64_t ask = 0;
  std::string shown, state;
  bool steady = false, open = false;
  std::optional<inspection::Result> result;
};
std::string live_json(const LiveTold& told);

std::string sound_json(std::uint64_t n, const std::string& kind);
std::string text_json(const char* key, const std::string& text);  ///< {"text":"..."}
std::string finished_json(bool complete, const std::string& why);
std::string failed_json(const std::string& fault, const std::string& what);
std::string profile_json(const profile::Profile& profile);

/// The heading of a check for people; its name where it has none.
std::string heading_of(const std::string& check);

}  // namespace pinproof::screen
