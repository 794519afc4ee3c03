// The releases of the invented marque's example families: what the example maker has issued for each, oldest first.
#include <fmt/format.h>

#include <algorithm>
#include <string_view>

#include "fettle/standin/maker.h"

namespace fettle::standin {

namespace {

// Pieces that are alike: so many of them, in one region.
struct Part {
    const char *box, *region, *stem;
    int count;
    double share;  // of all bytes
    bool always;   // changes with every release
};

// One piece that is there from that release on (its index), and one that is for some issue letters only.
struct Special {
    const char* stem;
    int late, late_from;
    int some_issues;
    std::vector<std::string> issues;
};

void add_pieces(std::vector<ReleaseSpec>& history, const std::vector<Part>& parts, const Special& special,
                std::uint64_t total_bytes) {
    for (const Part& part : parts)
        for (int i = 1; i <= part.count; ++i) {
            int step = 0;  // how often this piece has changed
            // Sizes differ within a part, as real ones do; their sum is the part's share.
            const double weight = 0.5 + static_cast<double>(i) / (part.count + 1);
            const auto bytes =
                static_cast<std::uint64_t>(static_cast<double>(total_bytes) * part.share * weight / part.count);
            for (int r = 0; r < static_cast<int>(history.size()); ++r) {
                const bool stays = !part.always && (i * 3 + r) % 5 == 0;
                if (r > 0 && !stays) ++step;
                const bool its = std::string_view(part.stem) == special.stem;
                if (its && i == special.late && r < special.late_from) continue;
                PieceSpec p{
                    fmt::format("{}-{:02}", part.stem, i), part.box, part.region, std::max<std::uint64_t>(bytes, 16),
                    fmt::format("{}.{}", i % 4 + 1, step), {}};
                if (its && i == special.some_issues) p.issues = special.issues;
                history[static_cast<std::size_t>(r)].pieces.push_back(std::move(p));
            }
        }
}

}  // namespace

std::vector<ReleaseSpec> dunnock_history(std::uint64_t total_bytes) {
    const std::vector<std::string> everywhere = {"NS", "MD", "OV"};
    std::vector<ReleaseSpec> out = {
        {"26.1.090", everywhere, "", 0, false, {"Map arrow jumps at roundabouts"}, {}},
        {"26.4.102", everywhere, "26.1.090", 1, true, {"Map arrow lags behind in tunnels"}, {}},
        {"27.1.110", everywhere, "26.4.102", 1, false, {"Station list empty after a cold night"}, {}},
        {"27.3.118",
         everywhere,
         "26.4.102",
         1,
         false,
         {"Display stays dark after a short stop", "Reversing picture freezes"},
         {}},
    };
    add_pieces(out,
               {{"main", "recovery", "recovery", 2, 0.10, true},
                {"main", "start", "start-code", 1, 0.01, true},
                {"main", "kernel", "kernel", 3, 0.12, true},
                {"main", "system", "main-system", 22, 0.50, false},
                {"display", "system", "display-system", 12, 0.27, false}},
               {"main-system", 22, 2, 7, {"A", "B"}}, total_bytes);
    return out;
}

std::vector<ReleaseSpec> brill_history(std::uint64_t total_bytes) {
    const std::vector<std::string> markets = {"NS", "MD"};
    std::vector<ReleaseSpec> out = {
        {"26.2.040", markets, "", 3, false, {}, {}},
        {"26.4.088", markets, "26.2.040", 3, false, {"Clock loses ten minutes a week"}, {}},
        {"27.2.031",
         markets,
         "26.2.040",
         4,
         true,
         {"Touch is answered late after a cold start", "Call is cut off when the ignition goes off"},
         {}},
    };
    add_pieces(out,
               {{"main", "system", "system", 19, 0.89, false},
                {"main", "start", "start-code", 1, 0.01, true},
                {"main", "recovery", "recovery", 2, 0.10, true}},
               {"system", 19, 1, 4, {"A"}}, total_bytes);
    return out;
}

std::vector<ReleaseSpec> pelm_history(std::uint64_t total_bytes) {
    const std::vector<std::string> markets = {"NS", "MD", "OV"};
    std::vector<ReleaseSpec> out = {
        {"26.3.017", markets, "", 1, false, {}, {}},
        {"27.1.052", markets, "26.3.017", 1, false, {"Traffic list is read out twice"}, {}},
        {"27.2.064",
         markets,
         "26.3.017",
         1,
         false,
         {"Sound drops out when the reversing picture comes", "Seat warning stays on the screen"},
         {}},
    };
    add_pieces(out, {{"main", "base", "base", 4, 0.30, true}, {"main", "system", "app", 22, 0.70, false}},
               {"app", 21, 1, 8, {"A"}}, total_bytes);
    return out;
}

std::vector<ReleaseSpec> example_history(const std::string& family, std::optional<std::uint64_t> total_bytes) {
    if (family == "dunnock") return total_bytes ? dunnock_history(*total_bytes) : dunnock_history();
    if (family == "brill") return total_bytes ? brill_history(*total_bytes) : brill_history();
    if (family == "pelm") return total_bytes ? pelm_history(*total_bytes) : pelm_history();
    return {};
}

}  // namespace fettle::standin
