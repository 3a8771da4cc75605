#include "record/store.h"

#include <array>

namespace pinproof::record {
namespace {

struct Kind {
  std::string_view prefix;
  std::unique_ptr<Store> (*open)(const std::string& where, Access access);
};

// The one table of databases; a path is what no prefix fits.
constexpr std::array kKinds{Kind{"postgresql://", open_postgresql},
                            Kind{"postgres://", open_postgresql}};

}  // namespace

bool is_server(const std::string& where) {
  for (const Kind& kind : kKinds)
    if (where.starts_with(kind.prefix)) return true;
  return false;
}

std::unique_ptr<Store> open_store(const std::string& where, Access access) {
  for (const Kind& kind : kKinds)
    if (where.starts_with(kind.prefix)) return kind.open(where, access);
  return open_sqlite(where, access);
}

}  // namespace pinproof::record
