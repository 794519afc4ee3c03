#include "fettle/card/audit.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/card/audit_parts.h"

namespace fettle::card {
namespace {

// The finding that a technician would name first: the worst, and among equals the one that explains the others.
const Reason* first_to_say(const Judgement& j) {
    static constexpr std::string_view order[] = {
        "wrong-file-system", "no-file-system",      "boot-sector-wrong", "fat32-too-few-clusters", "card-cut-short",
        "card-read-failed",  "one-folder-too-deep", "archive-unopened",  "releases-mixed",         "copy-name",
        "other-card",        "other-release",       "other-family",      "index-missing",          "signature-wrong",
        "file-missing",      "file-differs",        "family-not-named"};
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

std::string sentence_of(const Audit& a) {
    const Reason* first = first_to_say(a.judgement);
    if (!first || first->verdict == Verdict::fit) return first ? first->text : std::string();
    const auto others = a.judgement.reasons.size() - 1;
    const std::string more = others == 0 ? "" : fmt::format(" ({} below)", plural(others, "more finding"));
    return (of_structure(first->code) ? "The card's file system is damaged: " : "") + first->text + more;
}

void say_what_was_not_checked(AuditState& s) {
    const auto* rule = s.rule();
    if (rule && !rule->media.empty())
        s.out.not_checked.push_back("whether the medium is of a kind that the box takes (" + join(rule->media, ", ") +
                                    "): an image or a device does not say it for certain");
    s.out.not_checked.push_back(
        "whether the card is as large as it says and keeps what is written: that needs writing to it");
}

void say_good(AuditState& s) {
    if (!s.out.judgement.reasons.empty()) return;
    const auto& a = s.out;
    s.add("card-good", Verdict::fit,
          fmt::format("The card is good: {}release {}, {} of {} files are what the {} names.",
                      a.cards > 1 ? fmt::format("card {} of {} of ", a.card, a.cards) : "",
                      printable(s.request.release ? s.request.release->release : a.release), a.files_matched,
                      a.files_wanted, s.request.release ? "release" : "card's own signed index"),
          "",
          fmt::format("digests and {}", a.file_system == "exFAT" ? "exFAT specification" : "FAT specification 1.03"));
}

}  // namespace

Result<Audit> audit(BlockDevice& device, const AuditRequest& request) {
    AuditState s{device, request, {}};
    auto volume = audit_table(s);
    if (!volume) return pass(volume);
    if (*volume) {
        const auto listing = (*volume)->list(true);
        if (listing) {
            audit_volume(s, **volume, *listing);
            audit_content(s, **volume, *listing);
        } else {
            s.add("top-folder-broken", Verdict::halt,
                  fmt::format("The top folder cannot be read: {}. Lay the card again.", listing.error().problem),
                  "top folder", "boot sector and FAT");
        }
    } else {
        s.out.not_checked.push_back("files and digests: there is no FAT or exFAT volume to read them from");
    }
    say_what_was_not_checked(s);
    say_good(s);
    s.out.sentence = sentence_of(s.out);
    return std::move(s.out);
}

}  // namespace fettle::card
