#include "cmd_import.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <set>

#include "fettle/base/digest.h"
#include "fettle/base/ed25519.h"
#include "fettle/base/files.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/family/merge.h"
#include "fettle/family/signed.h"
#include "fettle/handover/seal.h"

namespace fettle::app {
namespace {

namespace fs = std::filesystem;
using family::Difference;

constexpr std::uintmax_t file_limit_bytes = 4u << 20;

std::string fingerprint_of(const std::string& key_hex) {
    const auto key = unhex(key_hex);
    return key ? key_fingerprint(*key) : std::string();
}

// The text of the family file in use under that id: the home's, else the example's; empty: none.
Result<std::string> in_use_text(const Context& context, const std::string& id) {
    std::error_code ec;
    for (const fs::path& folder : {context.families_folder(), context.examples}) {
        const fs::path file = folder / (id + ".toml");
        if (!folder.empty() && fs::exists(file, ec)) return read_text_file(file, file_limit_bytes);
    }
    return std::string();
}

Result<std::set<std::size_t>> asked_for(const FamilyImportOptions& o, std::size_t asked) {
    std::set<std::size_t> out;
    for (const std::string& word : o.accept) {
        if (word == "all") {
            for (std::size_t n = 1; n <= asked; ++n) out.insert(n);
            continue;
        }
        std::size_t n = 0;
        const char* end = word.data() + word.size();
        const auto read = std::from_chars(word.data(), end, n);
        if (read.ec != std::errc() || read.ptr != end || n < 1 || n > asked)
            return usage_error(
                "line-not-there", "--accept " + printable(word),
                fmt::format("names nothing that is asked; there {} {}", asked == 1 ? "is" : "are", asked),
                "give a number of the list, or all");
        out.insert(n);
    }
    return out;
}

std::string side_by_side(const Difference& d) {
    std::string out;
    const auto side = [&](const char* which, const std::vector<std::string>& lines) {
        if (lines.empty()) out += fmt::format("      {:<6} not there\n", which);
        for (std::size_t i = 0; i < lines.size(); ++i)
            out += fmt::format("      {:<6} {}\n", i == 0 ? which : "", printable(lines[i]));
    };
    side("here", d.here);
    side("there", d.there);
    return out;
}

json::array texts_json(const std::vector<std::string>& texts) {
    json::array out;
    for (const std::string& t : texts) out.push_back(json::string(t));
    return out;
}

void judge_signer(const family::Signature& s, const std::string& known, Answer& a) {
    if (s.state == family::Signed::none)
        a.judgement.add({"family-unsigned", Verdict::mind, s.why, "signature", "nothing"});
    else if (known.empty())
        a.judgement.add(
            {"family-signer-unknown", Verdict::mind,
             fmt::format("signed by \"{}\" with a key that is not known here: compare {} with what they give "
                         "you, then keep it as HOME/keys/known/NAME.pub",
                         s.by, fingerprint_of(s.public_key)),
             "signature", "signature"});
    else
        a.judgement.add({"family-signer-known", Verdict::fit,
                         fmt::format("signed by \"{}\", whose key is known here as {}", s.by, printable(known)),
                         "signature", "signature"});
}

Status write_in_use(const Context& context, const std::string& id, const std::string& text) {
    if (const Status made = make_folder(context.families_folder()); !made) return made;
    return write_file_durably(context.families_folder() / (id + ".toml"), text);
}

}  // namespace

Status keep_import(const Context& context, const family::Family& before, const std::string& after_sha256,
                   const std::string& by, const std::string& key, const std::vector<std::string>& entries) {
    const auto file = context.families_folder() / (before.id + ".accepted.jsonl");
    if (const Status made = make_folder(context.families_folder()); !made) return made;
    std::string lines;
    std::error_code ec;
    if (fs::exists(file, ec)) {
        auto old = read_text_file(file);
        if (!old) return tl::unexpected<Error>(old.error());
        lines = std::move(*old);
    }
    const json::object entry{
        {"at", iso8601(context.clock->now())}, {"by", by},           {"from_sha256", before.digest},
        {"to_sha256", after_sha256},           {"signed_with", key}, {"loosened", texts_json(entries)}};
    return write_file_durably(file, lines + json::serialize(entry) + "\n");
}

Result<Answer> family_sign(Context& context, const FamilySignOptions& options) {
    if (trim(options.by).empty())
        return usage_error("sign-without-name", "--by", "who answers for the file is not said", "give --by NAME");
    const auto text = read_text_file(options.file, file_limit_bytes);
    if (!text) return pass(text);
    const auto family = family::load_family(options.file);
    if (!family) return pass(family);
    Answer a;
    a.level = family->level;
    const auto texts = family::long_texts(*text);
    if (!texts.empty()) {
        a.headline = "Not signed: it carries texts that may be a maker's own words.";
        for (const std::string& t : texts) a.text += "  " + printable(t) + "\n";
        a.judgement.add({"family-long-text", Verdict::halt,
                         "what travels between shops is facts in your own words: say it in less than 300 characters",
                         options.file, "family file"});
        a.data = {{"file", options.file}, {"signed", false}};
        return a;
    }
    const auto key = handover::shop_key(context.keys_folder());
    if (!key) return pass(key);
    const std::string out = family::sign_family(*text, options.by, key->seed);
    if (const Status written = write_file_durably(options.file, out); !written) return pass(written);
    a.headline = fmt::format("Signed by \"{}\" with key {}{}.", printable(trim(options.by)), key->fingerprint,
                             key->made_now ? " (made just now)" : "");
    a.text = "  Any change above the signature will be seen. It does not prove that what the file says is true.\n";
    a.judgement.add(
        {"family-signed", Verdict::fit, "every byte above the signature is covered", options.file, "signature"});
    a.data = {{"file", options.file},
              {"signed", true},
              {"key", hex(ed25519_public(key->seed))},
              {"fingerprint", key->fingerprint}};
    return a;
}

Result<Answer> family_import(Context& context, const FamilyImportOptions& options) {
    const auto text = read_text_file(options.file, file_limit_bytes);
    if (!text) return pass(text);
    const auto offered = family::load_family(options.file);
    if (!offered) return pass(offered);
    const family::Signature signer = family::check_family_signature(*text);
    const std::string known =
        signer.public_key.empty() ? "" : handover::known_as(context.keys_folder(), signer.public_key);
    const std::string by(trim(options.accept_loosening_by));

    Answer a;
    a.level = offered->level;
    a.data = {{"id", offered->id},
              {"signature", signer.state == family::Signed::good      ? "good"
                            : signer.state == family::Signed::changed ? "changed"
                                                                      : "none"},
              {"by", signer.by},
              {"key", signer.public_key},
              {"fingerprint", fingerprint_of(signer.public_key)},
              {"known_as", known},
              {"written", false},
              {"differences", json::array()}};
    if (signer.state == family::Signed::changed) {
        a.headline = "Not taken: the file was changed after it was signed.";
        a.judgement.add({"family-changed", Verdict::halt, signer.why, "signature", "signature"});
        return a;
    }
    judge_signer(signer, known, a);
    for (const std::string& t : family::long_texts(*text))
        a.judgement.add({"family-long-text", Verdict::mind, "a long text, perhaps a maker's own words: " + printable(t),
                         options.file, "family file"});
    const std::string who = signer.state == family::Signed::good
                                ? fmt::format("signed by \"{}\", key {}", signer.by, fingerprint_of(signer.public_key))
                                : "unsigned";
    const auto mine = in_use_text(context, offered->id);
    if (!mine) return pass(mine);
    if (mine->empty()) {
        if (const Status written = write_in_use(context, offered->id, *text); !written) return pass(written);
        a.headline = fmt::format("Family {} taken in, {}; no such family was known here.", offered->id, who);
        a.data["written"] = true;
        return a;
    }

    const family::Family before = family::load_family_text(*mine).family;
    const auto all = family::differences(*mine, *text);
    std::set<std::size_t> take;
    std::vector<std::size_t> asked;
    for (std::size_t i = 0; i < all.size(); ++i) {
        if (all[i].kind == Difference::Kind::tightens) take.insert(i);
        if (all[i].kind == Difference::Kind::loosens) asked.push_back(i);
    }
    const auto accepted = asked_for(options, asked.size());
    if (!accepted) return pass(accepted);
    if (!accepted->empty() && by.empty())
        return usage_error("accept-without-name", "--accept", "what loosens wants a name",
                           "give --accept-loosening-by NAME");
    std::vector<std::string> loosened;
    for (const std::size_t n : *accepted) {
        take.insert(asked[n - 1]);
        loosened.push_back(all[asked[n - 1]].entry);
    }
    std::string taken_text, asked_text, hand_text;
    json::array shown;
    std::size_t number = 0, open = 0;
    for (std::size_t i = 0; i < all.size(); ++i) {
        const Difference& d = all[i];
        const bool taken = take.contains(i);
        json::object entry{{"entry", d.entry},
                           {"here", texts_json(d.here)},
                           {"there", texts_json(d.there)},
                           {"kind", d.kind == Difference::Kind::tightens  ? "tightens"
                                    : d.kind == Difference::Kind::loosens ? "loosens"
                                                                          : "by-hand"},
                           {"taken", taken}};
        if (d.kind == Difference::Kind::loosens) entry["number"] = ++number;
        shown.push_back(std::move(entry));
        if (d.kind == Difference::Kind::by_hand)
            hand_text += fmt::format("    {}: {}\n{}", printable(d.entry), printable(d.why), side_by_side(d));
        else if (taken)
            taken_text += fmt::format("    {}\n{}", printable(d.entry), side_by_side(d));
        else
            asked_text += fmt::format("    {}  {}\n{}", number, printable(d.entry), side_by_side(d)), ++open;
    }
    a.data["differences"] = std::move(shown);
    if (!taken_text.empty()) a.text += "  taken\n" + taken_text;
    if (!asked_text.empty()) a.text += "  asked: each would let more through than now\n" + asked_text;
    if (!hand_text.empty()) a.text += "  to be settled by hand\n" + hand_text;
    if (!hand_text.empty())
        a.judgement.add({"import-by-hand", Verdict::mind,
                         "entries that do not fit alone were not taken: look at both sides and change the file by hand",
                         offered->id, "family file"});
    if (open > 0) {
        a.judgement.add(
            {"import-asked", Verdict::mind,
             "what loosens was not taken; where two figures differ, one of them is wrong, or the hardware is "
             "another",
             offered->id, "family file"});
        a.text += fmt::format("  next     fettle family import {} --accept N --accept-loosening-by NAME\n",
                              printable(options.file));
    }
    if (!take.empty()) {
        const auto out = family::merged(*mine, *text, take);
        if (!out) return pass(out);
        // The name is kept first: a kill between the two leaves a name without a change, never the reverse.
        if (!loosened.empty()) {
            if (const Status kept = keep_import(context, before, sha256_hex(*out), by, signer.public_key, loosened);
                !kept)
                return pass(kept);
            a.judgement.add({"family-loosening-accepted", Verdict::mind,
                             fmt::format("{} accepted what is loosened", by), offered->id, "named acceptance"});
        }
        if (const Status written = write_in_use(context, offered->id, *out); !written) return pass(written);
        a.data["written"] = true;
    }
    a.headline = all.empty() ? fmt::format("Family {}, {}: it says nothing else than the one in use.", offered->id, who)
                             : fmt::format("Family {}, {}: {} of {} differences taken.", offered->id, who, take.size(),
                                           all.size());
    return a;
}

}  // namespace fettle::app
