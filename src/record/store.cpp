#include "record/store.h"

#include <algorithm>
#include <array>

namespace pinproof::record {
namespace {

struct StoreScheme {
  std::string_view prefix;
  std::unique_ptr<Store> (*open)(const std::string& where, Access access);
};

// The one table of databases; a path is what no prefix fits.
constexpr std::array kKinds{StoreScheme{"postgresql://", open_postgresql},
                            StoreScheme{"postgres://", open_postgresql}};

}  // namespace

bool is_server(const std::string& where) {
  for (const StoreScheme& kind : kKinds)
    if (where.starts_with(kind.prefix)) return true;
  return false;
}

void insert_rows(Store& store, const std::string& table, std::size_t columns,
                 const std::vector<Value>& values) {
  constexpr std::size_t kRows = 50;  // a statement
  for (std::size_t at = 0; at < values.size();) {
    const std::size_t many = std::min(kRows * columns, values.size() - at);
    std::string sql = "INSERT INTO " + table + " VALUES ";
    for (std::size_t k = 0; k < many; ++k)
      sql += (k % columns > 0 ? ", $" : k > 0 ? "), ($" : "($") + std::to_string(k + 1);
    const auto first = values.begin() + static_cast<std::ptrdiff_t>(at);
    store.run(sql + ")", {first, first + static_cast<std::ptrdiff_t>(many)});
    at += many;
  }
}

std::unique_ptr<Store> open_store(const std::string& where, Access access) {
  for (const StoreScheme& kind : kKinds)
    if (where.starts_with(kind.prefix)) return kind.open(where, access);
  return open_sqlite(where, access);
}

}  // namespace pinproof::record
