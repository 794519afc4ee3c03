// Which boxes a link command asks, and over which transports: every command of the link opens its connections here.
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "fettle/link/client.h"
#include "fettle/link/inventory.h"
#include "fettle/workshop/link_options.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

// One way to a box: a connection, and the box's address there.
struct Way {
    link::Connection* connection = nullptr;  // of OpenLink; nullptr: it could not be opened
    family::LinkBox record;                  // with the address that is asked
    std::string via;                         // "doip://127.0.0.1:13400"
    std::string trouble;                     // why there is no connection
};
struct AskedBox {
    std::string role;
    std::vector<Way> ways;  // tried in this order until it answers
};

struct OpenLink {
    link::Options options;
    family::Family family;
    std::vector<std::unique_ptr<link::Connection>> connections;  // one a transport
    std::vector<AskedBox> boxes;                                 // in the order of the family's link records
};

// Each of `at` is ADDRESS or BOX=ADDRESS: "doip://HOST:PORT" (every box that nothing else names),
// "doip://HOST:PORT/0x1041" (the box of that address, or the named one), more than one for a set on several transports.
// The family: the one named, else the one whose plate a box gives: then only typed addresses are asked, and entities.
// `job`: as link_options has it. One transport that cannot be opened is a trouble of its boxes, all of them an error.
// What was recorded until then stands in the job.
Result<OpenLink> open_links(const Workshop& shop, const std::string& job, const std::vector<std::string>& at,
                            const std::string& family_id, const std::string& record, const LinkHow& how = {});

// Over the first way on which it answers at all.
link::BoxInventory read_over(const AskedBox& box);
link::BoxFaults read_memory_over(const AskedBox& box, bool details = false);

}  // namespace fettle::workshop
