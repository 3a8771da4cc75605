#include "lever/contact_states.h"

#include <algorithm>

namespace pinproof::lever {
namespace {

constexpr double kSlack = 0.2;     // of a series resistor's limits: still meant to be that one
constexpr double kSlack_ohm = 20;  // and of its contact, which may be poor and still be closed
constexpr double kPoor = 1.5;      // of the limit of a contact alone

Interval bounds(const ContactOhms& contact, double wires_ohm) {
  const double closed = contact.closed_ohm + wires_ohm;
  if (!contact.series_ohm) return {0, kPoor * closed};
  return {(1 - kSlack) * contact.series_ohm->low,
          (1 + kSlack) * contact.series_ohm->high + closed + kSlack_ohm};
}

// Some closed contacts in parallel.
Interval parallel(const std::vector<ContactOhms>& contacts, double wires_ohm, std::size_t closed) {
  double least_S = 0, most_S = 0;
  for (std::size_t k = 0; k < contacts.size(); ++k) {
    if (((closed >> k) & 1U) == 0) continue;
    const Interval one = bounds(contacts[k], wires_ohm);
    least_S += 1 / std::max(one.high, 1e-9);
    most_S += 1 / std::max(one.low, 1e-9);
  }
  return {1 / most_S, 1 / least_S};
}

}  // namespace

std::string states_of(const std::vector<ContactOhms>& contacts, double wires_ohm, double open_ohm,
                      double ohm) {
  std::string out(contacts.size(), 'w');
  if (ohm >= open_ohm) return std::string(contacts.size(), 'o');
  std::size_t always = ~std::size_t{0}, ever = 0;
  for (std::size_t closed = 1; closed < (std::size_t{1} << contacts.size()); ++closed) {
    const Interval ohms = parallel(contacts, wires_ohm, closed);
    if (ohm <= ohms.high && (ohm >= ohms.low || ohms.low < 1e-6)) always &= closed, ever |= closed;
  }
  if (ever == 0) return out;
  for (std::size_t k = 0; k < contacts.size(); ++k)
    out[k] = ((always >> k) & 1U) != 0 ? 'c' : ((ever >> k) & 1U) != 0 ? 'w' : 'o';
  return out;
}

}  // namespace pinproof::lever
