// fettle stand-in: a virtual set on the loopback interface, to practise with.
#include <fmt/core.h>
#include <poll.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <thread>

#include "cmd_link.h"
#include "fettle/base/bytes.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/card/block_device.h"
#include "fettle/link/uds.h"
#include "fettle/shelf/shelf.h"
#include "fettle/show/print.h"
#include "fettle/standin/can_server.h"
#include "fettle/standin/server.h"

namespace fettle::app {
namespace {

using standin::Event;
using standin::EventKind;
using Steady = std::chrono::steady_clock;

std::string line_of(const Event& e) {
    std::string what;
    switch (e.kind) {
        case EventKind::state: what = fmt::format("{}: {}", e.act, printable(e.text)); break;
        case EventKind::shows: what = fmt::format("shows \"{}\"", printable(e.text)); break;
        case EventKind::asks: what = fmt::format("ASKS \"{}\": type {} and Enter", printable(e.text), e.control); break;
        case EventKind::sleeps:
            what = fmt::format("SLEEPS until the line is fed: type {} and Enter", printable(e.text));
            break;
        case EventKind::restarted: what = fmt::format("{} box is up, mode {}", e.box, e.mode); break;
        case EventKind::tally:
            what = fmt::format("landed {}, passed over {}, refused {}, to come {}", e.tally.landed, e.tally.passed_over,
                               e.tally.refused, e.tally.to_come);
            break;
        case EventKind::ended: what = fmt::format("ended: {}", words(e.ending)); break;
        default: what = std::string(words(e.kind)) + (e.text.empty() ? "" : " (" + printable(e.text) + ")"); break;
    }
    return fmt::format("{:7.0f} s  {}\n", e.at_s, what);
}

// A typed line, if one is there; never waits.
std::string typed_line() {
    pollfd p{STDIN_FILENO, POLLIN, 0};
    if (::poll(&p, 1, 0) <= 0 || (p.revents & POLLIN) == 0) return {};
    char buffer[128];
    const auto n = ::read(STDIN_FILENO, buffer, sizeof buffer);
    return n > 0 ? std::string(trim(std::string_view(buffer, static_cast<std::size_t>(n)))) : std::string();
}

// --can ROLE=ADDRESS: which box of the set is behind which CAN address.
Result<std::map<std::uint16_t, link::BoxAddress>> boxes_on_can(const family::Family& f,
                                                               const std::vector<std::string>& words) {
    std::map<std::uint16_t, link::BoxAddress> out;
    for (const auto& w : words) {
        const auto equals = w.find('=');
        const auto role = w.substr(0, equals);
        const auto box = std::find_if(f.link.begin(), f.link.end(), [&](const auto& l) { return l.role == role; });
        if (equals == std::string::npos || box == f.link.end())
            return usage_error("bad-can-box", printable(w),
                               "it does not begin with a box of the family that has a link record",
                               "write --can ROLE=can://127.0.0.1:PORT/0x7a1:0x7a9");
        auto address = link::parse_box_address(std::string_view(w).substr(equals + 1));
        if (!address) return pass(address);
        if (!address->can)
            return usage_error("bad-can-box", printable(w), "it is no address on CAN",
                               "write --can ROLE=can://127.0.0.1:PORT/0x7a1:0x7a9");
        if (!out.empty() && address->at != out.begin()->second.at)
            return usage_error("bad-can-box", printable(w), "its boxes stand on two buses",
                               "give all of them the same port");
        out[box->address] = *address;
    }
    return out;
}

struct Practice {
    standin::VirtualSet set;
    std::map<std::uint16_t, link::BoxAddress> on_can;
};
Result<Practice> practice_for(Context& context, const StandInOptions& o) {
    auto shelf = shelf::Shelf::open(context.shelf_folder());
    if (!shelf) return pass(shelf);
    auto shelved = shelf->find(o.family, o.from);
    if (!shelved) return pass(shelved);
    auto family = load_family_by_id(context, shelved->family);
    if (!family) return pass(family);
    auto plates = o.plates;
    for (const auto& [role, plate] : plates)
        if (std::none_of(family->boxes.begin(), family->boxes.end(), [&](const auto& b) { return b.role == role; }))
            return usage_error("bad-plate", printable(role), "is no box of the family " + family->id,
                               "write two words, the box and its plate, e.g. --plate main 6104183C5");
    for (const auto& b : family->boxes)
        if (!plates.contains(b.role) && !b.plate.examples.empty()) plates[b.role] = b.plate.examples.front();
    std::string market = o.market;
    const auto known = family->view.values.find("market");
    const bool listed = known != family->view.values.end() && !known->second.empty();
    if (!market.empty() && listed && !known->second.contains(market)) {
        std::vector<std::string> names;
        for (const auto& [name, words] : known->second) names.push_back(name);
        return usage_error("bad-market", printable(market), "is no market of the family " + family->id,
                           "name one of these: " + join(names, ", "));
    }
    if (market.empty() && !shelved->release.markets.empty()) market = shelved->release.markets.front();
    if (market.empty() && listed) market = known->second.begin()->first;
    auto start = standin::start_at(*family, shelved->release, plates, market);
    if (!start) return pass(start);
    start->answers_asks = o.answer_asks;
    start->partners_missing = o.on_bench;
    start->must_be_woken = o.on_bench && !o.answer_asks;
    start->clears = o.clears == "all"  ? standin::Clears::only_all
                    : o.clears == "no" ? standin::Clears::no
                                       : standin::Clears::each;
    for (const std::string& r : split(o.history, ','))
        if (!trim(r).empty()) start->history.emplace_back(trim(r));
    for (const std::string& typed : o.stored) {
        const auto parts = split(typed, ':');
        const auto status = parts.size() == 3 ? unhex(parts[2]) : std::nullopt;
        if (!status || status->size() != 1 || !family->box(parts[0]) || !link::uds::code_number(parts[1]))
            return usage_error("bad-stored", printable(typed), "it is no box, code and status of a fault entry",
                               "write e.g. --stored main:B1A4F-13:28");
        start->stored[parts[0]].push_back({parts[1], (*status)[0]});
    }
    auto on_can = boxes_on_can(*family, o.can);
    if (!on_can) return pass(on_can);
    auto set = standin::VirtualSet::make(std::make_shared<const family::Family>(std::move(*family)), std::move(*start),
                                         o.seed);
    if (!set) return pass(set);
    return Practice{std::move(*set), std::move(*on_can)};
}

}  // namespace

namespace {

// "display=127.0.0.1:0"
Result<std::vector<standin::Door>> further_doors(const std::vector<std::string>& typed) {
    std::vector<standin::Door> out;
    for (const std::string& t : typed) {
        const auto equals = t.find('=');
        const auto colon = t.rfind(':');
        const bool any_port = colon != std::string::npos && t.substr(colon) == ":0";
        if (equals == std::string::npos || equals == 0)
            return usage_error("bad-address", printable(t), "it names no box", "write e.g. --also display=127.0.0.1:0");
        const auto at = link::parse_endpoint(t.substr(equals + 1, any_port ? colon - equals - 1 : std::string::npos));
        if (!at) return pass(at);
        out.push_back({t.substr(0, equals), at->host, any_port ? std::uint16_t{0} : at->port});
    }
    return out;
}

// What somebody at the bench does, typed: a control, a line to feed, or one of two words.
void do_typed(standin::VirtualSet& s, const std::string& typed) {
    if (typed == "partners") return s.connect_partners();
    if (typed == "power") {
        s.cut_power();
        s.restore_power();
        return;
    }
    if (!s.answer(typed)) s.feed(typed);
}

}  // namespace

Result<Answer> stand_in(Context& context, const StandInOptions& options) {
    if (!(options.speed > 0 && options.speed <= 100000))
        return usage_error("bad-speed", fmt::format("{}", options.speed), "the speed is not between 0 and 100000",
                           "write e.g. --speed 60");
    if (!(options.stay_s >= 0 && options.stay_s <= 7 * 86400))
        return usage_error("bad-stay", fmt::format("{}", options.stay_s), "it is not between 0 and a week",
                           "write e.g. --stay 60");
    const auto colon = options.listen.rfind(':');
    const bool any_port = colon != std::string::npos && options.listen.substr(colon) == ":0";
    const auto at = link::parse_endpoint(any_port ? options.listen.substr(0, colon) : options.listen);
    if (!at) return pass(at);
    auto device = card::open_for_reading(options.card);
    if (!device) return pass(device);
    auto practice = practice_for(context, options);
    if (!practice) return pass(practice);
    practice->set.insert_card(**device);
    const auto doors = further_doors(options.also);
    if (!doors) return pass(doors);
    standin::Manners manners;
    if (!options.announce.empty()) {
        const auto to = link::parse_endpoint(options.announce);
        if (!to) return pass(to);
        manners.announce_host = to->host;
        manners.announce_port = to->port;
    }
    auto server = standin::Server::start(std::move(practice->set), at->host, any_port ? std::uint16_t{0} : at->port,
                                         *doors, manners);
    if (!server) return pass(server);
    const auto tell = [&](const std::string& line) {
        if (!context.json) fmt::print(stderr, "{}", line);
    };
    tell(fmt::format("Listening on doip://{}:{}; this is practice, nothing real is written.\n", (*server)->host(),
                     (*server)->port()));
    std::unique_ptr<standin::CanServer> bus;
    if (!practice->on_can.empty()) {
        auto started = standin::CanServer::start(**server, practice->on_can);
        if (!started) return pass(started);
        bus = std::move(*started);
        for (const auto& [number, address] : practice->on_can)
            tell(fmt::format("Box 0x{:04X} on {}\n", number, link::text_of(address)));
    }
    for (const standin::Door& d : *doors)
        tell(fmt::format("The {} also on doip://{}:{}.\n", d.box, d.host, (*server)->port_of(d.box)));

    Status started;
    if (!options.rest) (*server)->with([&](standin::VirtualSet& s) { started = s.start_update(); });
    if (!started) return pass(started);
    auto last = Steady::now();
    std::optional<Steady::time_point> until;
    double ended_s = 0;
    while (!until || Steady::now() < *until) {
        std::this_thread::sleep_for(std::chrono::milliseconds(20));
        const auto now = Steady::now();
        const double seconds = std::chrono::duration<double>(now - last).count() * options.speed;
        last = now;
        std::vector<Event> events;
        bool stands_still = false;
        double at_s = 0;
        const std::string typed = typed_line();
        (*server)->with([&](standin::VirtualSet& s) {
            if (!typed.empty()) do_typed(s, typed);
            events = s.advance(seconds);
            at_s = events.empty() ? s.now_s() : events.back().at_s;
            stands_still = !s.running();
        });
        for (const auto& e : events) tell(line_of(e));
        if (stands_still && !until) {
            ended_s = at_s;
            until = now + std::chrono::milliseconds(static_cast<std::int64_t>(options.stay_s * 1000));
        }
    }
    const auto s = (*server)->snapshot();
    Answer a;
    const auto t = s.tally();
    a.headline = fmt::format("The stand-in's run has ended after {}: {}.", human_duration(ended_s), words(s.ending()));
    boost::json::array boxes;
    for (const auto& b : s.boxes_now()) {
        a.text +=
            fmt::format("  {:<8} {} mode, shows release {}\n", b.role, words(b.mode), printable(s.release(b.role)));
        boxes.push_back({{"box", b.role}, {"mode", json_word(words(b.mode))}, {"release", s.release(b.role)}});
    }
    a.text += fmt::format("  landed {}, passed over {}, refused {}, to come {}\n", t.landed, t.passed_over, t.refused,
                          t.to_come);
    a.data = {{"ending", json_word(words(s.ending()))},
              {"virtual_s", ended_s},
              {"boxes", std::move(boxes)},
              {"tally",
               {{"landed", t.landed}, {"passed_over", t.passed_over}, {"refused", t.refused}, {"to_come", t.to_come}}}};
    if (options.rest) {
        a.headline = "The stand-in has answered as long as it was to; no update was started.";
        return a;
    }
    const bool complete = s.ending() == standin::Ending::complete;
    a.judgement.add({complete ? "stand-in-complete" : "stand-in-not-complete", complete ? Verdict::fit : Verdict::halt,
                     complete ? "the virtual run came to its end"
                              : "the virtual run did not come to its end: " + printable(s.screen()),
                     "", "stand-in"});
    return a;
}

}  // namespace fettle::app
