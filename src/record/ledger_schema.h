// The tables of a ledger and how older ones become newer.
#pragma once

namespace pinproof::record {

class Store;

/// Makes the tables or adds what a newer program needs. Throws Error(usage) for a ledger of a newer
/// program and for a database that holds something else.
void bring_up_to_date(Store& store);

}  // namespace pinproof::record
