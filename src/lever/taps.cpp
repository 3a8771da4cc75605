#include "lever/taps.h"

#include <algorithm>
#include <cmath>

#include "lever/contact_states.h"
#include "network/reach.h"
#include "quantity/document.h"
#include "quantity/error.h"
#include "quantity/text.h"

namespace pinproof::lever {
namespace {

Mask bit(std::size_t column) { return Mask{1} << column; }

Mask mask_of(const Tap& tap) {
  Mask out = 0;
  for (const std::size_t k : tap.columns) out |= bit(k);
  return out;
}

const profile::Contact& contact_of(const profile::Profile& profile, const RangeCode& code,
                                   std::size_t column) {
  return *profile.find_part(code.columns[column].contact)->contact();
}

Bits shared_bits(const profile::Profile& profile, const RangeCode& code, const Tap& tap,
                 double ohm) {
  std::vector<ContactOhms> contacts;
  for (const std::size_t k : tap.columns) {
    const auto& contact = contact_of(profile, code, k);
    contacts.push_back({contact.closed_ohm, contact.series_ohm});
  }
  const std::string states = states_of(contacts, tap.wires_ohm, profile.open_ohm, ohm);
  const bool nothing = states.find_first_not_of('w') == std::string::npos;
  Bits out;
  for (std::size_t k = 0; k < states.size(); ++k) {
    if (states[k] == 'w' && nothing) out.weak |= bit(tap.columns[k]);
    if (states[k] == 'w') continue;
    out.word.known |= bit(tap.columns[k]);
    if (states[k] == 'c') out.word.closed |= bit(tap.columns[k]);
  }
  return out;
}

// Closes to the feed: a controller pulls such a line down.
bool closes_to_ground(const profile::Profile& profile, const RangeCode& code, const Tap& tap) {
  const std::string& common = code.columns[tap.columns.front()].common;
  return common == profile::kCase || common == profile.ground_pin;
}

const Tap* tap_between(const profile::Profile& profile, const std::vector<Tap>& taps,
                       const record::WrittenReading& reading) {
  if (reading.from.size() != 1 || reading.to.size() != 1 || !reading.drive.empty()) return nullptr;
  const auto is_common = [&](const Tap& tap, const std::string& name) {
    const bool grounded = tap.to == profile::kCase || tap.to == profile.ground_pin;
    return name == tap.to || (grounded && (name == profile::kCase || name == profile.ground_pin));
  };
  for (const Tap& tap : taps)
    for (const auto& [x, y] :
         {std::pair(reading.from[0], reading.to[0]), std::pair(reading.to[0], reading.from[0])})
      if (x == tap.from && is_common(tap, y)) return &tap;
  return nullptr;
}

// An overload of a low range proves no open, but that a contact was not closed: none of these would
// have read beyond it.
Mask not_closed_at(const profile::Profile& profile, const RangeCode& code, const Tap& tap,
                   double range_end_ohm) {
  Mask out = 0;
  for (const std::size_t k : tap.columns) {
    const auto& contact = contact_of(profile, code, k);
    const double series = contact.series_ohm ? contact.series_ohm->high : 0;
    const double most = 1.5 * (contact.closed_ohm + tap.wires_ohm) + 1.2 * series;
    if (range_end_ohm >
        std::max(most, tap.columns.size() > 1 ? 0 : doubtful_ohm(profile, code, tap).low))
      out |= bit(k);
  }
  return out;
}

void add(const RangeCode& code, std::size_t position, const Bits& bits, RemarkedTaps& seen) {
  Word& word = seen.observed.words[position];
  Mask& weak = seen.observed.weak[position];
  const Mask differs = (word.closed ^ bits.word.closed) & word.known & bits.word.known;
  for (std::size_t k = 0; k < code.columns.size(); ++k)
    if ((differs & bit(k)) != 0)
      seen.remarks.push_back(code.columns[k].contact + " in " + code.positions[position] +
                             " read open once and closed once");
  word.closed |= bits.word.closed, word.known |= bits.word.known;
  weak |= bits.weak | differs;
  word.closed &= ~weak, word.known &= ~weak;
}

std::size_t position_named(const RangeCode& code, const std::string& name,
                           const std::string& where) {
  const auto it = std::find(code.positions.begin(), code.positions.end(), name);
  if (it == code.positions.end())
    throw Error(Fault::usage, where + ": \"" + name + "\" is no lever position of this profile");
  return static_cast<std::size_t>(it - code.positions.begin());
}

void read_bit(const Place& place, char c, std::size_t column, Bits& out) {
  if (c == 'w') out.weak |= bit(column);
  if (c == '0') out.word.closed |= bit(column);
  if (c == '0' || c == '1') out.word.known |= bit(column);
  if (std::string("01wx").find(c) == std::string::npos)
    place.refuse("allowed are 1 (open), 0 (closed), w (neither) and x (not seen)");
}

}  // namespace

std::vector<Tap> taps_of(const profile::Profile& profile, const RangeCode& code) {
  // As the controller sees them: by the pack's ground pin, where there is a wire to it.
  const auto ground =
      std::find_if(profile.parts.begin(), profile.parts.end(), [&](const profile::Part& part) {
        return part.wire() &&
               (part.between[0] == profile.ground_pin || part.between[1] == profile.ground_pin) &&
               (part.between[0] == profile::kCase || part.between[1] == profile::kCase);
      });
  std::vector<Tap> out;
  for (std::size_t k = 0; k < code.columns.size(); ++k) {
    const auto leads = network::leads_of(profile, *profile.find_part(code.columns[k].contact));
    if (!leads) continue;
    const std::string& pin = code.columns[k].pin;
    const auto it =
        std::find_if(out.begin(), out.end(), [&](const Tap& tap) { return tap.from == pin; });
    if (it != out.end())
      it->columns.push_back(k);
    else
      out.push_back({pin, leads->from == pin ? leads->to : leads->from, {k}, leads->wires_max_ohm});
    if (out.back().to != profile::kCase || ground == profile.parts.end()) continue;
    out.back().to = profile.ground_pin;
    out.back().wires_ohm += ground->wire()->max_ohm;
  }
  return out;
}

std::vector<Tap> taps_of(const profile::Profile& profile, const RangeCode& code,
                         const profile::Harness& harness) {
  const auto wire_to = [&](const std::string& pin) {
    return std::find_if(harness.wires.begin(), harness.wires.end(),
                        [&](const auto& wire) { return wire.pack == pin; });
  };
  const auto ground = wire_to(profile.ground_pin);
  std::vector<Tap> out;
  for (Tap tap : taps_of(profile, code)) {
    const auto wire = wire_to(tap.from), back = wire_to(tap.to);
    if (wire == harness.wires.end()) continue;
    tap.from = wire->controller;
    tap.wires_ohm += wire->max_ohm + harness.mate_max_ohm;
    const auto end = back != harness.wires.end() ? back : ground;
    if (end != harness.wires.end()) {
      tap.to = end->controller;
      tap.wires_ohm += end->max_ohm + harness.mate_max_ohm;
    }
    out.push_back(std::move(tap));
  }
  return out;
}

Interval doubtful_ohm(const profile::Profile& profile, const RangeCode& code, const Tap& tap) {
  const auto& contact = contact_of(profile, code, tap.columns.front());
  const double series = contact.series_ohm ? contact.series_ohm->high : 0;
  const double most = 1.5 * (contact.closed_ohm + tap.wires_ohm) + series;
  const auto& input = profile.lever->input;
  if (!input) return {most, profile.open_ohm};
  const bool ground = closes_to_ground(profile, code, tap);
  const double closed_V = ground ? input->low_V : input->supply_V - input->high_V;
  const double open_V = ground ? input->high_V : input->supply_V - input->low_V;
  return {input->pull_ohm * closed_V / (input->supply_V - closed_V),
          input->pull_ohm * open_V / (input->supply_V - open_V)};
}

Bits bits_of(const profile::Profile& profile, const RangeCode& code, const Tap& tap, double ohm) {
  if (std::isnan(ohm)) return {};
  if (tap.columns.size() > 1) return shared_bits(profile, code, tap, ohm);
  const Mask all = mask_of(tap);
  const Interval doubtful = doubtful_ohm(profile, code, tap);
  if (ohm <= doubtful.low) return {{all, all}, 0};
  if (ohm >= doubtful.high) return {{0, all}, 0};
  return {{}, all};
}

double believed_ohm(const profile::Profile& profile, double ohm, double range_end) {
  return std::isinf(ohm) && range_end < profile.open_ohm ? NAN : ohm;
}

Observed nothing_of(const RangeCode& code) {
  return {std::vector<Word>(code.positions.size()), std::vector<Mask>(code.positions.size())};
}

RemarkedTaps observe(const profile::Profile& profile, const RangeCode& code,
                     const std::vector<Tap>& taps, const record::WrittenReadings& readings,
                     const std::string& file) {
  RemarkedTaps out{nothing_of(code), {}};
  std::vector<Mask> not_closed(code.positions.size());
  for (const auto& one : readings.readings) {
    const Tap* tap = tap_between(profile, taps, one);
    if (!tap) continue;
    const std::size_t position =
        one.condition.lever.empty()
            ? 0
            : position_named(code, one.condition.lever, file + ": " + one.pointer);
    if (std::isinf(one.ohm))
      not_closed[position] |= not_closed_at(profile, code, *tap, one.range_ohm);
    add(code, position, bits_of(profile, code, *tap, believed_ohm(profile, one.ohm, one.range_ohm)),
        out);
  }
  for (std::size_t p = 0; p < not_closed.size(); ++p)
    add(code, p, {{0, not_closed[p] & out.observed.words[p].closed}, 0}, out);
  return out;
}

RemarkedTaps observe(const RangeCode& code, std::string_view json, const std::string& file) {
  const Document document = Document::parse(json, file);
  Place root = document.root();
  expect_schema(root, "pinproof/observed/1");
  root.optional_text("note");
  RemarkedTaps out{nothing_of(code), {}};
  for (Place place : root.at("positions").items()) {
    const std::size_t position =
        position_named(code, place.text("name"), file + ": " + place.pointer());
    Bits bits;
    const std::string lines = place.optional_text("code");
    std::size_t at = 0;
    for (std::size_t k = 0; k < code.columns.size(); ++k) {
      if (code.columns[k].role != Role::line) continue;
      if (!lines.empty() && at < lines.size()) read_bit(place, lines[at], k, bits);
      ++at;
    }
    if (!lines.empty() && lines.size() != at)
      place.refuse("code", "one character for each of the " + std::to_string(at) + " lines");
    for (std::size_t k = 0; k < code.columns.size(); ++k) {
      if (code.columns[k].role == Role::line) continue;
      const char* key = code.columns[k].role == Role::reverse ? "reverse" : "start_permit";
      const std::string text = place.optional_text(key);
      if (text.size() > 1) place.refuse(key, "one character: 1, 0, w or x");
      if (!text.empty()) read_bit(place, text.front(), k, bits);
    }
    place.done();
    add(code, position, bits, out);
  }
  root.done();
  return out;
}

}  // namespace pinproof::lever
