#include "cmd_handover.h"

#include <fmt/core.h>

#include <filesystem>

#include "fettle/base/digest.h"
#include "fettle/base/ed25519.h"
#include "fettle/base/files.h"
#include "fettle/base/text.h"
#include "fettle/family/level.h"
#include "fettle/handover/seal.h"
#include "fettle/handover/sheet.h"
#include "fettle/ready/cautions.h"
#include "fettle/watch/strip.h"
#include "fettle/workshop/job_run.h"
#include "fettle/workshop/store.h"

namespace fettle::app {
namespace {

namespace fs = std::filesystem;

struct Strips {
    std::vector<std::string> drawn;  // one for every run; none when the shelf no longer has what the plan was made of
    bool settled = false;            // the settling time of the last run has passed
};

Strips strips(const Context& context, const book::Job& job, UnixMs now) {
    Strips out;
    if (job.family.empty()) return out;
    const auto run = load_job_run(context, job.number);
    if (!run) return out;
    for (const book::Run& r : run->job.runs) {
        if (!run->step_of(r)) continue;
        const Watched w = watched(*run, r);
        const watch::Observed seen = observed(r, run->on_bench());
        const UnixMs until = seen_until(r, now);  // a run that ended is drawn to its end
        if (!run->family.script.empty())          // without a script there is nothing to draw
            out.drawn.push_back(watch::strip_svg(w.step(), seen, watch::track(w.step(), seen, until), until));
        out.settled = watch::track(w.step(), seen, now).safe_to_remove;
    }
    return out;
}

// What the owner or the next workshop must know.
std::vector<std::string> cautions_of(const book::Job& job) {
    std::vector<std::string> out;
    if (job.place != "vehicle") {  // the boxes go back into a vehicle
        out.push_back(ready::caution("restraints").text);
        out.push_back(ready::caution("high-voltage").text);
    }
    return out;
}

std::string workshop_of(const Context& context) {
    const auto text = read_text_file(context.home / "workshop.txt", 4096);
    return text ? std::string(trim(text->substr(0, text->find('\n')))) : "";
}

fs::path sheet_path(const fs::path& folder, const book::Job& job) {
    const std::size_t n = job.handovers.size() + 1;
    return folder /
           (n == 1 ? fmt::format("handover-{}.html", job.number) : fmt::format("handover-{}-{}.html", job.number, n));
}

}  // namespace

Result<Answer> handover(Context& context, const HandoverOptions& options) {
    if (options.out.empty())
        return usage_error("out-missing", "--out", "where the sheet goes is not said", "give --out DIR");
    auto job = load_job(context, options.job);
    if (!job) return pass(job);
    if (auto ok = handover::may_hand_over(*job); !ok) return pass(ok);
    auto record = read_job(context, options.job);
    if (!record) return pass(record);
    const UnixMs now = context.clock->now();
    handover::SheetInput input;
    input.job = std::move(*job);
    input.made = now;
    input.workshop = workshop_of(context);
    Strips drawn = strips(context, input.job, now);
    input.strips = std::move(drawn.drawn);
    if (drawn.settled)  // it had not when the pieces were compared
        std::erase_if(input.job.proof, [](const Reason& r) { return r.code == "not-settled"; });
    input.cautions = cautions_of(input.job);
    if (const auto family = input.job.family.empty() ? Result<family::Family>(tl::unexpected(Error{}))
                                                     : load_family_by_id(context, input.job.family)) {
        input.level = fmt::format("{}, {}", family->level, family::level_words(family->level));
        input.boot_order_known = !family->boot.empty();
    } else {
        input.boot_order_known = false;
    }
    input.journal_entries = static_cast<std::int64_t>(record->entries.size());
    if (!record->entries.empty()) input.journal_digest = record->entries.back().digest;
    auto html = handover::sheet_html(input);
    if (!html) return pass(html);
    auto key = handover::shop_key(context.keys_folder());
    if (!key) return pass(key);
    const std::string sheet = handover::seal(*html, key->seed);
    const fs::path folder = options.out;
    if (auto made = make_folder(folder); !made) return pass(made);
    const fs::path path = sheet_path(folder, input.job);
    if (auto written = write_file_durably(path, sheet); !written) return pass(written);

    Answer a;
    a.job = input.job.number;
    a.headline = handover::headline(input.job);
    a.level = input.level.empty() ? "L0" : input.level.substr(0, 2);
    a.text = fmt::format("  sheet {}\n  sealed by key {}{}\n", path.string(), key->fingerprint,
                         key->made_now ? " (made just now; note it down where customers can compare it)" : "");
    const std::string digest = sha256_hex(sheet);
    const std::string public_key = hex(ed25519_public(key->seed));
    a.data = {{"file", path.string()},
              {"sheet_sha256", digest},
              {"key", public_key},
              {"fingerprint", key->fingerprint},
              {"headline", a.headline}};
    // Kept here and not by the caller: a sheet that the record does not know must not stay.
    const NewEntry entry{"handover", {{"file", path.string()}, {"sheet_sha256", digest}, {"key", public_key}}};
    if (auto kept = append_entries(context, input.job.number, {entry}, input.journal_entries); !kept) {
        std::error_code ignored;
        fs::remove(path, ignored);
        return pass(kept);
    }
    return a;
}

Result<Answer> handover_check(Context& context, const HandoverCheckOptions& options) {
    const auto text = read_text_file(options.file);
    if (!text) return pass(text);
    const handover::Checked c = handover::check(*text);
    const std::string known = c.public_key.empty() ? "" : handover::known_as(context.keys_folder(), c.public_key);
    Answer a;
    switch (c.seal) {
        case handover::Seal::unchanged:
            a.headline =
                fmt::format("Unchanged since sealed by key {}{}.", c.fingerprint,
                            known.empty() ? ", which is not known here" : ", known here as " + printable(known));
            if (known.empty())
                a.judgement.add(
                    {"seal-key-unknown", Verdict::mind,
                     "the key is not known here: compare its sixteen characters with those the workshop gives", "seal",
                     "signature"});
            else
                a.judgement.add({"seal-unchanged", Verdict::fit, c.why, "seal", "signature"});
            break;
        case handover::Seal::changed:
            a.headline = "Changed: this is not the sheet that was sealed.";
            a.judgement.add({"seal-changed", Verdict::halt, c.why, "seal", "signature"});
            break;
        case handover::Seal::none:
            a.headline = "No seal: nothing can be said of this file.";
            a.judgement.add({"seal-missing", Verdict::cant_say, c.why, "seal", "nothing"});
            break;
    }
    a.text = "  The seal does not prove that what the sheet says is true.\n";
    a.data = {{"seal", c.seal == handover::Seal::unchanged ? "unchanged"
                       : c.seal == handover::Seal::changed ? "changed"
                                                           : "none"},
              {"key", c.public_key},
              {"fingerprint", c.fingerprint},
              {"known_as", known},
              {"sheet_sha256", c.sheet_sha256}};
    return a;
}

}  // namespace fettle::app
