#include "fettle/rehearse/bench.h"

#include <fmt/core.h>

#include <algorithm>

namespace fettle::rehearse {

Result<std::unique_ptr<Bench>> Bench::make(const family::Family& family, const family::Release& start,
                                           std::uint64_t seed) {
    std::unique_ptr<Bench> bench(new Bench(family, start.markets.empty() ? "" : start.markets.front()));
    for (const family::Box& b : family.boxes) {
        if (b.plate.examples.empty())
            return bad_input("no-example-plate", "box " + b.role, "the family file gives no example plate",
                             "add one to its examples");
        bench->plates_[b.role] = b.plate.examples.front();
    }
    Result<standin::StartState> state = standin::start_at(family, start, bench->plates_, bench->market_);
    if (!state) return pass(state);
    state->partners_missing = true;
    state->must_be_woken = true;
    Result<standin::VirtualSet> set =
        standin::VirtualSet::make(std::make_shared<const family::Family>(family), std::move(*state), seed);
    if (!set) return pass(set);
    std::vector<standin::Door> doors;  // a set is wired apart: each box on a transport of its own
    if (family.link.size() > 1)
        for (const family::LinkBox& b : family.link) doors.push_back({b.role, "127.0.0.1", 0});
    Result<std::unique_ptr<standin::Server>> server = standin::Server::start(std::move(*set), "127.0.0.1", 0, doors);
    if (!server) return pass(server);
    bench->server_ = std::move(*server);
    return bench;
}

std::vector<std::string> Bench::addresses() const {
    std::vector<std::string> out;
    for (const family::LinkBox& b : family_.link) {
        const std::uint16_t own = server_->port_of(b.role);
        const std::string at = fmt::format("doip://{}:{}", server_->host(), own != 0 ? own : server_->port());
        out.push_back(family_.link.size() == 1 ? at : b.role + "=" + at);
    }
    return out;
}

bool Bench::reads_pieces() const {
    return std::any_of(family_.link.begin(), family_.link.end(),
                       [](const family::LinkBox& b) { return b.did_pieces != 0; });
}

Status Bench::put_in(const std::filesystem::path& card) {
    Result<std::unique_ptr<card::BlockDevice>> device = card::open_for_reading(card);
    if (!device) return pass(device);
    with([&](standin::VirtualSet& set) { set.insert_card(**device); });
    card_ = std::move(*device);  // the one before is let go only now that nothing reads it
    return {};
}

Status Bench::start_update() {
    Status begun;
    with([&](standin::VirtualSet& set) { begun = set.start_update(); });
    return begun;
}

}  // namespace fettle::rehearse
