#include "fettle/workshop/family_travel.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/digest.h"
#include "fettle/base/ed25519.h"
#include "fettle/base/files.h"
#include "fettle/base/text.h"
#include "fettle/handover/seal.h"
#include "fettle/workshop/family_acts.h"

namespace fettle::workshop {
namespace fs = std::filesystem;
namespace {

using Kind = family::Difference::Kind;

std::string fingerprint_of(const std::string& key_hex) {
    const auto key = unhex(key_hex);
    return key ? key_fingerprint(*key) : std::string();
}

// The text of the family file in use under that id: the home's, else the example's; empty: none.
Result<std::string> in_use_text(const Workshop& shop, const std::string& id) {
    std::error_code ec;
    for (const fs::path& folder : {shop.families_folder(), shop.examples}) {
        const fs::path file = folder / (id + ".toml");
        if (!folder.empty() && fs::exists(file, ec)) return family_file_text(file);
    }
    return std::string();
}

Reason signer_reason(const ImportedFamily& f) {
    if (f.signer.state == family::Signed::none)
        return {"family-unsigned", Verdict::mind, f.signer.why, "signature", "nothing"};
    if (f.known_as.empty())
        return {"family-signer-unknown", Verdict::mind,
                fmt::format("signed by \"{}\" with a key that is not known here: compare {} with what they give "
                            "you, then keep it as HOME/keys/known/NAME.pub",
                            f.signer.by, f.fingerprint),
                "signature", "signature"};
    return {"family-signer-known", Verdict::fit,
            fmt::format("signed by \"{}\", whose key is known here as {}", f.signer.by, printable(f.known_as)),
            "signature", "signature"};
}

// What is taken, and the entries of it that let through more.
Result<std::vector<std::string>> choose(const ImportFamilyRequest& request, ImportedFamily& f) {
    std::vector<std::size_t> asked;
    for (std::size_t i = 0; i < f.differences.size(); ++i) {
        if (f.differences[i].kind == Kind::tightens) f.taken.insert(i);
        if (f.differences[i].kind == Kind::loosens) asked.push_back(i);
    }
    const auto accepted = numbers_of(
        request.accept, asked.size(),
        fmt::format("names nothing that is asked; there {} {}", asked.size() == 1 ? "is" : "are", asked.size()),
        "give a number of the list, or all");
    if (!accepted) return pass(accepted);
    if (!accepted->empty() && trim(request.accept_loosening_by).empty())
        return usage_error("accept-without-name", with(flag("accept")), "what loosens wants a name",
                           Next{"give ", with(wanted("accept-loosening-by", "NAME"))});
    std::vector<std::string> loosened;
    for (const std::size_t n : *accepted) {
        f.taken.insert(asked[n - 1]);
        loosened.push_back(f.differences[asked[n - 1]].entry);
    }
    return loosened;
}

void judge_what_is_left(ImportedFamily& f) {
    bool by_hand = false, asked = false;
    for (std::size_t i = 0; i < f.differences.size(); ++i) {
        by_hand = by_hand || f.differences[i].kind == Kind::by_hand;
        asked = asked || (f.differences[i].kind == Kind::loosens && !f.taken.contains(i));
    }
    if (by_hand)
        f.judgement.add({"import-by-hand", Verdict::mind,
                         "entries that do not fit alone were not taken: look at both sides and change the file by hand",
                         f.id, "family file"});
    if (asked)
        f.judgement.add(
            {"import-asked", Verdict::mind,
             "what loosens was not taken; where two figures differ, one of them is wrong, or the hardware is another",
             f.id, "family file"});
}

Status take_over(const Workshop& shop, const std::string& mine, const std::string& theirs, const std::string& by,
                 std::vector<std::string> loosened, ImportedFamily& f) {
    const auto merged = family::merged(mine, theirs, f.taken);
    if (!merged) return pass(merged);
    if (!loosened.empty()) {
        const Status kept = keep_signed_loosening(
            shop, f.id, {by, sha256_hex(mine), sha256_hex(*merged), f.signer.public_key, std::move(loosened)});
        if (!kept) return kept;
        f.judgement.add({"family-loosening-accepted", Verdict::mind, fmt::format("{} accepted what is loosened", by),
                         f.id, "named acceptance"});
    }
    if (const auto written = put_in_use(shop, f.id, *merged); !written) return pass(written);
    f.written = true;
    return {};
}

}  // namespace

Result<SignedFamily> sign_family(const Workshop& shop, const SignFamilyRequest& request) {
    SignedFamily out;
    out.file = request.file;
    out.by = std::string(trim(request.by));
    if (out.by.empty())
        return usage_error("sign-without-name", with(flag("by")), "who answers for the file is not said",
                           Next{"give ", with(wanted("by", "NAME"))});
    const auto text = family_file_text(request.file);
    if (!text) return pass(text);
    const auto family = family::load_family(request.file);
    if (!family) return pass(family);
    out.level = family->level;
    out.long_texts = family::long_texts(*text);
    if (!out.is_signed()) {
        out.judgement.add({"family-long-text", Verdict::halt,
                           "what travels between shops is facts in your own words: say it in less than 300 characters",
                           request.file, "family file"});
        return out;
    }
    const auto key = handover::shop_key(shop.keys_folder());
    if (!key) return pass(key);
    const std::string with_signature = family::sign_family(*text, request.by, key->seed);
    if (const Status written = write_file_durably(request.file, with_signature); !written) return pass(written);
    out.public_key = hex(ed25519_public(key->seed));
    out.fingerprint = key->fingerprint;
    out.key_made_now = key->made_now;
    out.judgement.add(
        {"family-signed", Verdict::fit, "every byte above the signature is covered", request.file, "signature"});
    return out;
}

Result<ImportedFamily> import_family(const Workshop& shop, const ImportFamilyRequest& request) {
    const auto text = family_file_text(request.file);
    if (!text) return pass(text);
    const auto offered = family::load_family(request.file);
    if (!offered) return pass(offered);
    ImportedFamily f;
    f.file = request.file;
    f.id = offered->id;
    f.level = offered->level;
    f.signer = family::check_family_signature(*text);
    f.fingerprint = fingerprint_of(f.signer.public_key);
    if (!f.signer.public_key.empty()) f.known_as = handover::known_as(shop.keys_folder(), f.signer.public_key);
    if (f.signer.state == family::Signed::changed) {
        f.judgement.add({"family-changed", Verdict::halt, f.signer.why, "signature", "signature"});
        return f;
    }
    f.judgement.add(signer_reason(f));
    for (const std::string& t : family::long_texts(*text))
        f.judgement.add({"family-long-text", Verdict::mind, "a long text, perhaps a maker's own words: " + printable(t),
                         request.file, "family file"});
    const auto mine = in_use_text(shop, f.id);
    if (!mine) return pass(mine);
    f.was_known = !mine->empty();
    if (!f.was_known) {
        if (const auto written = put_in_use(shop, f.id, *text); !written) return pass(written);
        f.written = true;
        return f;
    }
    f.differences = family::differences(*mine, *text);
    const auto loosened = choose(request, f);
    if (!loosened) return pass(loosened);
    judge_what_is_left(f);
    if (f.taken.empty()) return f;
    const std::string by(trim(request.accept_loosening_by));
    if (const Status taken = take_over(shop, *mine, *text, by, *loosened, f); !taken) return pass(taken);
    return f;
}

}  // namespace fettle::workshop
