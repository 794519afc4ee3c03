// The sentence on top: the finding that explains the most others, without figures that only a program reads.
#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/card/audit.h"

namespace fettle::card {
namespace {

// Of findings that are equally bad, the first of these is the cause: a card that is not this job's explains every file
// on it, a medium that loses bytes explains crossed chains, crossed chains explain files that differ.
const Reason* first_to_say(const Judgement& j) {
    static constexpr std::string_view order[] = {"card-read-failed",
                                                 "begins-again",
                                                 "zeros-from",
                                                 "card-other-family",
                                                 "other-family",
                                                 "card-other-market",
                                                 "other-market",
                                                 "wrong-file-system",
                                                 "no-file-system",
                                                 "boot-mark-missing",
                                                 "boot-sector-wrong",
                                                 "fat32-too-few-clusters",
                                                 "fat16-too-many-clusters",
                                                 "card-cut-short",
                                                 "data-past-end",
                                                 "boot-sum-wrong",
                                                 "fat-version",
                                                 "active-fat-wrong",
                                                 "first-fat-stale",
                                                 "fats-differ",
                                                 "exfat-tables-damaged",
                                                 "top-folder-broken",
                                                 "one-folder-too-deep",
                                                 "archive-unopened",
                                                 "other-card",
                                                 "card-other-release",
                                                 "other-release",
                                                 "releases-mixed",
                                                 "copy-name",
                                                 "chain-crossed",
                                                 "chain-circular",
                                                 "clusters-broken",
                                                 "chain-short",
                                                 "entry-set-damaged",
                                                 "name-twice",
                                                 "name-hash-wrong",
                                                 "index-missing",
                                                 "index-unreadable",
                                                 "file-unreadable-on-card",
                                                 "file-missing",
                                                 "file-size-differs",
                                                 "file-differs",
                                                 "file-broken-on-card",
                                                 "signature-missing",
                                                 "signature-wrong",
                                                 "family-not-named"};
    const auto rank = [](const Reason& r) {
        return std::find(std::begin(order), std::end(order), r.code) - std::begin(order);
    };
    const Reason* best = nullptr;
    for (const auto& r : j.reasons)
        if (!best || r.verdict > best->verdict || (r.verdict == best->verdict && rank(r) < rank(*best))) best = &r;
    return best;
}

// Findings whose text names a cluster or an entry: the sentence on top says first what that means.
bool of_structure(std::string_view code) {
    static constexpr std::string_view all[] = {
        "chain-crossed", "chain-circular", "chain-short", "chain-long",      "clusters-broken",  "name-damaged",
        "long-name-sum", "folder-damaged", "name-twice",  "name-hash-wrong", "entry-set-damaged"};
    return std::find(std::begin(all), std::end(all), code) != std::end(all);
}

}  // namespace

std::string sentence_of(const Judgement& judgement) {
    const Reason* first = first_to_say(judgement);
    if (!first || first->verdict == Verdict::fit) return first ? first->text : std::string();
    const auto others = static_cast<std::size_t>(std::count_if(
        judgement.reasons.begin(), judgement.reasons.end(), [](const Reason& r) { return r.verdict != Verdict::fit; }));
    const std::string more = others == 1 ? "" : fmt::format(" ({} below)", plural(others - 1, "more finding"));
    return (of_structure(first->code) ? "The card's file system is damaged: " : "") + first->text + more;
}

}  // namespace fettle::card
