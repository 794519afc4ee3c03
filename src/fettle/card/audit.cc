#include "fettle/card/audit.h"

#include <fmt/core.h>

#include "fettle/base/text.h"
#include "fettle/card/audit_parts.h"

namespace fettle::card {
namespace {

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
    s.out.sentence = sentence_of(s.out.judgement);
    return std::move(s.out);
}

}  // namespace fettle::card
