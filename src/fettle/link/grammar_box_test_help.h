// For tests: a rude box by grammar. To each question it answers by the structure of ISO 13400-2 and ISO 14229-1
// (acknowledgement, any number of "pending", the answer) with violations drawn at random, some of them late; and one
// command of the link is run against it: identity, memory, clearing, memory again. What must hold whatever it does:
// a bounded time, no claim without its bytes in the recording, no second 14 for one group, no "has cleared" that the
// box did not answer to that very request.
#pragma once

#include <fmt/format.h>

#include <filesystem>
#include <fstream>
#include <mutex>
#include <random>

#include "fettle/link/clear.h"
#include "fettle/link/recording.h"
#include "fettle/link/rude_box_test_help.h"

namespace fettle::link::testing {

class GrammarBox {
public:
    explicit GrammarBox(std::uint64_t seed) : random_(seed) {
        rudeness_ = pick({0, 0, 1, 2, 4, 8});
        for (int i = 0, n = below(4) + 1; i < n; ++i)
            memory_[static_cast<std::uint32_t>(0x9A4F13 + i)] = pick({0x28, 0x08, 0x2C, 0x50, 0x68});
    }

    // One connection, until the tester is gone or it closes it itself.
    void talk(const RudeBox::Line& l) {
        l.receive();
        if (rude(60)) l.send(noise());
        if (rude(80)) return;
        l.send(activated());
        for (Bytes q = l.receive(); q.size() >= 8; q = l.receive()) {
            if (q.size() <= 12 || load_be16(q, 2) != 0x8001) continue;
            const Bytes uds(q.begin() + 12, q.end());
            if (uds[0] == 0x14) ++fourteens_[hex(uds)];
            const Bytes all = answer(uds);
            if (rude(40)) std::this_thread::sleep_for(std::chrono::milliseconds(below(50)));  // may be too late
            if (rude(60)) {                                                                   // cut, and gone
                l.send(Bytes(all.begin(), all.begin() + below(static_cast<int>(all.size()) + 1)));
                return;
            }
            if (rude(40))  // in pieces
                for (std::size_t i = 0; i < all.size(); i += 7) {
                    l.send(Bytes(all.begin() + static_cast<long>(i),
                                 all.begin() + static_cast<long>(std::min(all.size(), i + 7))));
                    std::this_thread::sleep_for(std::chrono::milliseconds(1));
                }
            else
                l.send(all);
        }
    }

    const std::map<std::string, int>& fourteens() const { return fourteens_; }
    bool said_yes(const std::string& request) const { return yes_.contains(request); }

private:
    int below(int n) { return std::uniform_int_distribution<int>(0, n - 1)(random_); }
    std::uint8_t pick(std::initializer_list<int> of) {
        return static_cast<std::uint8_t>(*(of.begin() + below(static_cast<int>(of.size()))));
    }
    bool rude(int one_in) { return rudeness_ > 0 && below(one_in) < rudeness_; }

    Bytes list() {
        Bytes out{0x59, 0x02, rude(40) ? pick({0, 0x10, 0x50, 0x2F, 0xEF, 0xFE}) : std::uint8_t{0xFF}};
        for (const auto& [code, status] : memory_)
            for (int n = rude(60) ? 2 : 1; n > 0; --n)
                append_be32(out, code << 8 | (rude(80) ? pick({0x2F, 0, 0x50}) : status));
        if (rude(60)) out.pop_back();
        return out;
    }
    // What the box decides, and what of it a well-behaved one would say.
    Bytes decided(const Bytes& q) {
        const Bytes no{0x7F, q[0], pick({0x10, 0x12, 0x21, 0x22, 0x31, 0x33, 0x7E, 0x93})};
        if (rude(10)) return no;
        switch (q[0]) {
            case 0x22: {
                if (q.size() < 3) return no;
                Bytes out{0x62, q[1], q[2]};
                append(out, as_bytes(q[2] == 0x87 ? "6104183C5" : "S77"));
                if (rude(80)) out.resize(3 + static_cast<std::size_t>(below(8)));
                return out;
            }
            case 0x19: return list();
            case 0x14: {
                if (below(3) == 0) return no;
                const std::uint32_t group = load_be32(q, 0) & 0xFFFFFF;
                for (auto& [code, status] : memory_)
                    if (code == group || group == 0xFFFFFF) status = 0x50;
                return {0x54};
            }
            case 0x3E: return {0x7E, 0x00};
            default: return no;
        }
    }
    Bytes noise() {
        switch (below(9)) {
            case 0: return frame(0x0007, {});
            case 1: return frame(0x1234, {1, 2, 3});
            case 2: return ack();
            case 3: return says(old_.empty() ? Bytes{0x54} : old_);
            case 4: return says({0x54}, 0x1042);
            case 5: return frame(0x8003, {0x10, 0x41, 0x0E, 0x80, pick({2, 3, 5, 6})});
            case 6: return says({0x7F, pick({0x14, 0x19, 0x22}), pick({0x00, 0x21, 0x31, 0x78})});
            case 7: return frame(0x8001, {0x10, 0x41, 0x0E, 0x81, 0x54});
            default: return frame(0x0000, {pick({0, 2, 3})});
        }
    }
    Bytes answer(const Bytes& q) {
        Bytes out;
        if (rude(15)) append(out, noise());
        const Bytes acked = ack();
        const Bytes says_it = decided(q);
        const bool silent = rude(25);
        if (!rude(25)) append(out, ack());
        for (int n = rude(10) ? below(4) : 0; n > 0; --n) append(out, says({0x7F, q[0], 0x78}));
        if (rude(15)) append(out, noise());
        if (!silent) {
            append(out, says(says_it));
            if (rude(8)) append(out, says(says_it));  // doubled
            if (rude(15)) append(out, noise());
            old_ = says_it;
        }
        // Whatever it meant: a 54 of this box behind the acknowledgement of this very request is its yes.
        const Bytes yes = says({0x54});
        const auto acknowledged = std::search(out.begin(), out.end(), acked.begin(), acked.end());
        if (q[0] == 0x14 && std::search(acknowledged, out.end(), yes.begin(), yes.end()) != out.end())
            yes_.insert(hex(q));
        return out.empty() ? frame(0x1234, {}) : out;
    }

    std::mt19937_64 random_;
    int rudeness_ = 0;
    std::map<std::uint32_t, std::uint8_t> memory_;
    std::map<std::string, int> fourteens_;
    std::set<std::string> yes_;
    Bytes old_;
};

struct Counted {
    int rounds = 0, opened = 0, read = 0, prepared = 0, cleared = 0, refused = 0, unknown = 0;
};

// One round; empty when all held, else what did not.
inline std::string one_round(std::uint64_t seed, const std::filesystem::path& folder, Counted& n) {
    using Clock = std::chrono::steady_clock;
    ++n.rounds;
    const auto path = folder / fmt::format("{}.pcapng", seed);
    GrammarBox box(seed);
    std::vector<std::string> wrong;
    std::vector<std::string> claims;  // messages of the box that must stand in the recording
    const auto began = Clock::now();
    std::vector<std::string> done;
    bool certain = true, sent = false;
    {
        RudeBox server([&](const RudeBox::Line& l) { box.talk(l); });
        Timing t;
        t.connect_ms = t.control_ms = 500;
        t.ack_ms = t.p2_ms = 25;
        t.p2star_ms = 40;
        t.transfer_ms = 60;
        t.longest_ms = 200;
        t.busy_pause_ms = 2;
        Options options;
        options.record = FileRecorder::create(path.string(), [] { return std::int64_t{0}; }).value();
        auto c = Connection::open(server.at(), options, t);
        if (c) {
            ++n.opened;
            family::LinkBox record;
            record.role = "main";
            record.address = 0x1041;
            record.did_plate = 0xF187;
            record.did_serial = 0xF18C;
            const BoxFaults memory = read_memory(*c, record);
            if (memory.known == Known::read) {
                ++n.read;
                claims.push_back(hex(memory.raw));
                ClearOrder order;
                order.box = record;
                order.kind = "infotainment";
                order.plate = "6104183C5";
                order.serial = "S77";
                order.memory = memory.faults;
                for (const auto& f : memory.faults)
                    if ((f.status & 0xAF) != 0 && (f.status & 1) == 0 && order.codes.size() < 2)
                        order.codes.push_back(f.code);
                if (!order.codes.empty())
                    if (auto clearing = Clearing::prepare(*c, order)) {
                        ++n.prepared;
                        claims.push_back("62f187" + hex(as_bytes("6104183C5")));
                        claims.push_back("62f18c" + hex(as_bytes("S77")));
                        const ClearResult r = clearing->send();
                        done = r.done;
                        certain = r.certain;
                        sent = !r.answers.empty();
                        n.cleared += !done.empty();
                        n.refused += sent && done.empty() && certain;
                        n.unknown += !certain;
                        const BoxFaults again = read_memory(*c, record);
                        if (again.known == Known::read) claims.push_back(hex(again.raw));
                    }
            }
        } else if (c.error().kind != ErrorKind::outside) {
            wrong.push_back("opening failed as " + c.error().code);
        }
    }
    // At most a dozen questions, each with a sign of life before it.
    const auto took = std::chrono::duration_cast<std::chrono::milliseconds>(Clock::now() - began).count();
    if (took > 12 * 2 * 200 + 4000) wrong.push_back(fmt::format("it took {} ms", took));
    for (const auto& [request, times] : box.fourteens())
        if (times > 1) wrong.push_back(fmt::format("{} was sent {} times", request, times));
    for (const auto& code : done) {
        const std::string request = fmt::format("14{:06x}", uds::code_number(code).value_or(0));
        if (!box.said_yes(request) && !box.said_yes("14ffffff"))
            wrong.push_back("\"has cleared " + code + "\", and the box did not say so");
    }
    if (!sent && !box.fourteens().empty()) wrong.push_back("a 14 went out that is not on record");
    std::ifstream in(path, std::ios::binary);
    const std::string file((std::istreambuf_iterator<char>(in)), {});
    const auto recorded = read_recording(as_bytes(file));
    if (!recorded) return "the recording cannot be read: " + recorded.error().message();
    for (const auto& claim : claims) {
        const bool there = std::any_of(recorded->exchanges.begin(), recorded->exchanges.end(), [&](const Exchanged& e) {
            return std::any_of(e.answers.begin(), e.answers.end(), [&](const Bytes& a) {
                std::string said = hex(a);  // padding at the end of a text is no part of it
                while (said.size() > claim.size() && said.ends_with("00")) said.resize(said.size() - 2);
                return said == claim;
            });
        });
        if (!there) wrong.push_back("claimed without its bytes in the recording: " + claim);
    }
    std::error_code ignored;
    std::filesystem::remove(path, ignored);
    std::string out;
    for (const auto& w : wrong) out += w + "\n";
    if (!wrong.empty())
        for (const Exchanged& e : recorded->exchanges) {
            out += "  " + hex(e.question) + " →";
            for (const Bytes& a : e.answers) out += " " + hex(a);
            out += " " + e.not_delivered + "\n";
        }
    return out;
}

}  // namespace fettle::link::testing
