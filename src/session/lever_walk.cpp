#include "session/lever_walk.h"

#include <algorithm>
#include <cmath>

#include "quantity/error.h"

namespace pinproof::session {
namespace {

constexpr const char* kCheck = "lever-walk";
constexpr int kMostLooks = 40;     // at one position, before it is given up as unsteady
constexpr double kSettle_s = 0.3;  // looks must agree for so long
constexpr int kLooksToStand = 4;   // the one in which it stops, two that agree, one to be sure
constexpr int kWatched = 8;        // looks after that: a contact that flickers stands now and then
// Where a person moves the lever: so long a word that is not the expected one must stand, and so
// long nothing at all may change, until it is taken for what this position reads.
constexpr double kUnexpected_s = 4, kUnchanged_s = 20;

lever::Mask bit(std::size_t column) { return lever::Mask{1} << column; }

}  // namespace

LeverWalk::LeverWalk(const lever::RangeCode& code, const std::vector<lever::Tap>& taps,
                     const inspection::RunOptions& options, record::Record& record, bool plugged,
                     LeverEye& eye)
    : code_(code),
      taps_(taps),
      options_(options),
      record_(record),
      handling_(options),
      plugged_(plugged),
      eye_(eye) {}

std::string bits_text(const LeverEye::Look& look) {
  std::string out;
  for (std::size_t k = 0; k < look.code->columns.size(); ++k) {
    if (look.code->columns[k].role != lever::Role::line) out += ' ';
    out += (look.weak & bit(k)) != 0          ? 'w'
           : (look.word.known & bit(k)) == 0  ? '?'
           : (look.word.closed & bit(k)) != 0 ? '0'
                                              : '1';
  }
  return out;
}

void LeverWalk::add(const record::Reading& reading) {
  record_.events.emplace_back(reading);
  for (record::Listener* listener : options_.listeners) listener->on_event(record_.events.back());
}

// `closed`: to be read as such. `quick`: in that one range, since one that flickers would be caught
// closed in a wider one.
record::Reading LeverWalk::read(const lever::Tap& tap, const record::Condition& condition,
                                const std::string& way, bool closed, bool quick) {
  if (options_.stop.stop_requested()) throw Error(Fault::aborted, "stopped");
  const Interval doubtful = lever::doubtful_ohm(*options_.profile, code_, tap);
  inspection::OhmStep step;
  step.between = {{tap.from}, {tap.to}};
  step.expected = Resistance{closed ? doubtful.low : INFINITY};
  // Far beyond what any contact's resistor could be, an open needs no wider range.
  step.enough = Resistance{std::max(2 * doubtful.high, options_.profile->open_ohm)};
  if (!closed) step.expected = step.enough / 4;
  if (closed && quick) step.enough = Resistance{0};
  return handling_.measure().ohms({kCheck, tap.from, condition.lever + way}, step, condition);
}

LeverWalk::SettledLook LeverWalk::look(const record::Condition& condition,
                                       const lever::Word& expected, bool quick) {
  SettledLook out;
  for (const lever::Tap& tap : taps_) {
    const bool closed = std::any_of(tap.columns.begin(), tap.columns.end(),
                                    [&](std::size_t k) { return (expected.closed & bit(k)) != 0; });
    record::Reading reading = read(tap, condition, "", closed, quick);
    const auto bits = lever::bits_of(*options_.profile, code_, tap,
                                     lever::believed_ohm(*options_.profile, reading.ohm_or_open(),
                                                         reading.measured.in(Unit::ohm).range_end));
    out.word.closed |= bits.word.closed, out.word.known |= bits.word.known;
    out.weak |= bits.weak;
    out.readings.push_back(std::move(reading));
  }
  return out;
}

void LeverWalk::show(const SettledLook& seen, const std::string& beside, std::size_t position,
                     bool moving) const {
  eye_.look({&code_, seen.word, seen.weak, beside, position, moving});
}

record::Condition LeverWalk::move_to(std::size_t position) {
  network::Situation situation;
  situation.state.lever = position;
  situation.plugged = plugged_;
  return handling_.reach(situation);
}

void LeverWalk::keep(const SettledLook& seen) {
  for (const record::Reading& reading : seen.readings) add(reading);
}

// Looks until two agree and enough time has gone by between them.
void LeverWalk::settle(std::size_t position, const char* way) {
  const record::Condition condition = move_to(position);
  const bool by_person = !options_.instruments->actuator;
  if (by_person) eye_.move(code_.positions[position]);
  const lever::Word& expected = code_.words[position];
  SettledLook last = look(condition, expected);
  const SettledLook first = last;
  const double begin_s = options_.now_s();
  double since_s = begin_s;
  for (int looks = 0; by_person || looks < kMostLooks; ++looks) {
    SettledLook next = look(condition, expected);
    show(next, code_.positions[position] + way, position);
    const double now_s = options_.now_s();
    const bool steady = next == last;
    if (!steady) since_s = now_s;
    last = std::move(next);
    if (!steady || now_s - since_s < kSettle_s) continue;
    const bool right = agree(last.word, expected) && last.weak == 0;
    const double patience_s = last == first ? kUnchanged_s : kUnexpected_s;
    if (!by_person || right || now_s - since_s > patience_s) break;
  }
  keep(last);
  watch(condition, position, way, last);
}

// The lever stands. What reads differently now is kept as well, and is then neither open nor
// closed.
void LeverWalk::watch(const record::Condition& condition, std::size_t position, const char* way,
                      const SettledLook& stood) {
  for (int k = 0; k < kWatched; ++k) {
    const SettledLook next = look(condition, stood.word, true);
    show(next, code_.positions[position] + way, position);
    if (!(next == stood)) keep(next);
  }
}

lever::RemarkedTaps LeverWalk::by_relays(bool both_ways) {
  const std::size_t n = code_.positions.size();
  for (std::size_t p = 0; p < n; ++p) settle(p, "");
  for (std::size_t p = n - 1; both_ways && p-- > 0;) settle(p, " on the way back");
  eye_.end();
  return lever::observe(*options_.profile, code_, taps_, record::readings_of(record_), "walk");
}

lever::RemarkedTaps LeverWalk::by_hand(bool both_ways) {
  const std::size_t n = code_.positions.size();
  bool forwards = true;
  for (const lever::Tap& tap : taps_)
    for (int pass = 0; pass < (both_ways ? 2 : 1); ++pass, forwards = !forwards)
      for (std::size_t k = 0; k < n; ++k) {
        const std::size_t position = forwards ? k : n - 1 - k;
        if (pass == 1 && k == 0) continue;  // it stands there already, and has been read
        try {
          const auto condition = move_to(position);
          const bool closed =
              std::any_of(tap.columns.begin(), tap.columns.end(), [&](std::size_t column) {
                return (code_.words[position].closed & bit(column)) != 0;
              });
          add(read(tap, condition, forwards ? "" : " on the way back", closed, false));
        } catch (const bench::Detour& detour) {
          record_.events.emplace_back(record::Skipped{
              {kCheck, tap.from, code_.positions[position] + (forwards ? "" : " on the way back")},
              detour.kind() == bench::DetourKind::skip ? detour.reason() : "gone past"});
        }
      }
  return lever::observe(*options_.profile, code_, taps_, record::readings_of(record_), "walk");
}

// How long the lever must stop to be seen to stand: looks are as fast as the instruments.
double LeverWalk::stop_s() {
  double longest_s = 0;
  for (int k = 0; k < 2; ++k) {
    const double begin_s = options_.now_s();
    look({}, {});
    longest_s = std::max(longest_s, options_.now_s() - begin_s);
  }
  return std::max(1.0, std::ceil(kSettle_s + kLooksToStand * longest_s));
}

std::vector<lever::LeverStop> LeverWalk::freely(double rest_s) {
  const double stop = stop_s();
  rest_s = std::max(rest_s, 2 * stop);
  eye_.move_freely({code_.positions.front(), code_.positions.back(), stop, rest_s});
  lever::Walk walk(code_, {.debounce_s = 0.02, .settle_s = kSettle_s});
  lever::Word last;
  double changed_s = options_.now_s();
  while (true) {
    const SettledLook now = look({}, {});
    const double at_s = options_.now_s();
    if (!(now.word == last)) changed_s = at_s;
    last = now.word;
    walk.add(at_s, now.word);
    show(now, walk.standing() ? "stands" : "moves ", code_.positions.size(), !walk.standing());
    if (walk.settled().size() > 1 && at_s - changed_s > rest_s) break;
  }
  eye_.end();
  return walk.settled();
}

}  // namespace pinproof::session
