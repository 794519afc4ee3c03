// Asking over the link: who is there, and what each box of the set says of itself.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/book/job.h"
#include "fettle/link/client.h"
#include "fettle/link/inventory.h"
#include "fettle/workshop/box_known.h"
#include "fettle/workshop/link_options.h"
#include "fettle/workshop/moment.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct FindRequest {
    std::string at = "127.0.0.1:13400";  // HOST:PORT
    std::string job;                     // its run keeps the link silent, its recordings get the exchange; may be empty
    std::string record;                  // file for the exchange; empty: as link_options
    std::optional<double> listen_s;      // for announcements, at that address of this machine; sends nothing
};
struct BoxesFound {
    std::string asked;
    std::optional<double> listened_s;
    std::vector<link::Found> found;  // empty: nobody answered, which is not "nobody is there"
    Judgement judgement;
    std::optional<Recording> recording;
};
// usage "bad-stay" for a time out of bounds; errors of link_options and of link::find.
Result<BoxesFound> find_boxes(const Workshop& shop, const FindRequest& request);

struct ReadRequest {
    std::vector<std::string> at;  // [BOX=]ADDRESS, more than one for a set on several transports
    std::string job;              // what was read is kept there; may be empty
    std::string family;           // its id; empty: the job's, else the one whose plate a box gives
    std::optional<Moment> when;   // absent: before while the job has no run; usage "when-past"
    std::string save;             // file for the pieces, as a list that a plan takes; outside "list-exists"
    std::string record;
    LinkHow how{};
};
struct BoxesRead {
    std::string family;
    link::Inventory inventory;
    std::optional<Stranger> stranger;  // somebody else answers: nothing was kept but the recording
    std::string list;                  // the file that the pieces were written to; empty: none was asked for
    Judgement judgement;
    std::optional<Recording> recording;
    bool broken_off = false;  // by how.cancel: what follows was not asked
    int reconnected = 0;      // so often the connection was lost while reading, and made again
};
// A reading after the run is the job's as-left list, too, when every box that has one gave its own. outside
// "list-not-whole" when a list was to be saved and a box gave none: then nothing is kept but the recording.
Result<BoxesRead> read_boxes(const Workshop& shop, const ReadRequest& request);

// One reason per item that was not read; "read-over-link" when all were.
Judgement judge(const link::Inventory& inventory);

// The items of a box that a reading has a fact for, in the order in which they are shown.
struct Item {
    const char* name;
    link::Fact link::BoxInventory::* fact;
    bool is_list;
};
extern const std::vector<Item> items;
std::string not_read_code(link::Known known);  // "read-over-link", "not-read-refused", …

}  // namespace fettle::workshop
