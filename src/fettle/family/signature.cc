#include "fettle/family/signature.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/cms.h"
#include "fettle/base/ed25519.h"
#include "fettle/base/text.h"

namespace fettle::family {
namespace {

std::string day(UnixMs t) {
    return iso8601(t).substr(0, 10);
}

SignatureCheck bad(std::string code, const PackageRule& rule, std::string text, std::string rests_on) {
    SignatureCheck c;
    c.state = SignatureState::bad;
    c.reasons.push_back({std::move(code), Verdict::halt, std::move(text), printable(rule.index), std::move(rests_on)});
    return c;
}

SignatureCheck check_ed25519(const PackageRule& rule, std::string_view index, std::string_view signature) {
    const auto key = unhex(rule.signature_key);
    if (key && ed25519_verify(*key, as_bytes(index), as_bytes(signature))) {
        SignatureCheck c;
        c.state = SignatureState::good;
        c.reasons.push_back({"signature-good", Verdict::fit,
                             fmt::format("the index is signed with the maker's key {}", key_fingerprint(*key)),
                             rule.index, "Ed25519 signature"});
        return c;
    }
    return bad("signature-bad", rule,
               fmt::format("\"{}\" is not the maker's signature of it: one of the two was changed, or the package is "
                           "not the maker's. Nothing in it is believed",
                           rule.signature_file),
               "Ed25519 signature");
}

// What the dates of the certificates say beside this machine's clock.
void add_dates(const CmsAnswer& a, const PackageRule& rule, UnixMs now, SignatureCheck& c) {
    if (now > a.ends_first.not_after)
        c.reasons.push_back({"signature-expired", Verdict::mind,
                             fmt::format("the certificate \"{}\" ended on {}; whether the index was signed before that "
                                         "can't be told, since no proven time comes with it",
                                         printable(a.ends_first.subject), day(a.ends_first.not_after)),
                             printable(rule.signature_file), "dates of the certificates, this machine's clock"});
    if (now < a.begins_last.not_before)
        c.reasons.push_back({"signature-not-yet", Verdict::mind,
                             fmt::format("the certificate \"{}\" begins on {}, which is still to come by this "
                                         "machine's clock ({})",
                                         printable(a.begins_last.subject), day(a.begins_last.not_before), day(now)),
                             printable(rule.signature_file), "dates of the certificates, this machine's clock"});
}

SignatureCheck check_cms(const PackageRule& rule, std::string_view index, std::string_view signature, UnixMs now) {
    const CmsAnswer a = cms_check(as_bytes(signature), as_bytes(index), rule.signature_certificates);
    const std::string why = printable(a.why);
    switch (a.state) {
        case CmsState::good: break;
        case CmsState::not_cms:
            return bad("signature-form", rule, fmt::format("\"{}\": {}", rule.signature_file, why), "CMS signature");
        case CmsState::altered:
            return bad("signature-bad", rule,
                       fmt::format("\"{}\" is not a signature of it: one of the two was changed ({}). Nothing in it is "
                                   "believed",
                                   rule.signature_file, why),
                       "CMS signature");
        case CmsState::unknown_signer:
            return bad("signature-unknown-signer", rule,
                       fmt::format("it is signed, but not by this maker as far as the family file knows: {}", why),
                       "CMS signature");
        case CmsState::weak:
            return bad("signature-weak", rule, fmt::format("its signature could be forged: {}", why), "CMS signature");
    }
    std::vector<std::string> names;
    for (const CertificateFacts& s : a.signers) {
        if (!rule.signature_signer.empty() && s.subject != rule.signature_signer)
            return bad("signature-unknown-signer", rule,
                       fmt::format("it is signed by \"{}\"; the family file says \"{}\"", printable(s.subject),
                                   rule.signature_signer),
                       "CMS signature");
        names.push_back(fmt::format("\"{}\" ({})", printable(s.subject), s.fingerprint));
    }
    if (a.signers.size() < static_cast<std::size_t>(rule.signature_needs))
        return bad("signature-too-few", rule,
                   fmt::format("it has {} of the {} signatures that the family file wants: {}", a.signers.size(),
                               rule.signature_needs, join(names, ", ")),
                   "CMS signature");
    SignatureCheck c;
    c.state = SignatureState::good;
    c.reasons.push_back(
        {"signature-good", Verdict::fit,
         fmt::format("the index is signed by {}, whose certificate leads to the maker's", join(names, " and ")),
         rule.index, "CMS signature; revocation not looked at"});
    add_dates(a, rule, now, c);
    return c;
}

}  // namespace

SignatureCheck check_signature(const PackageRule& rule, std::string_view index,
                               const std::optional<std::string>& signature, UnixMs now) {
    SignatureCheck c;
    if (rule.signature_form.empty()) {
        c.reasons.push_back({"signature-absent", Verdict::mind,
                             "whole, origin not proven: this maker signs nothing that the family file knows of",
                             rule.index, "family file"});
        return c;
    }
    if (signature)
        return rule.signature_form == "cms" ? check_cms(rule, index, *signature, now)
                                            : check_ed25519(rule, index, *signature);
    if (rule.unsigned_refused)
        c.reasons.push_back(
            {"signature-missing", Verdict::halt,
             fmt::format("this maker signs, but \"{}\" is not there: anybody can make a package without "
                         "one. Nothing in it is believed",
                         rule.signature_file),
             rule.signature_file, "family file"});
    else
        c.reasons.push_back(
            {"signature-absent", Verdict::mind,
             fmt::format("whole, origin not proven: the maker signs, but \"{}\" is not there", rule.signature_file),
             rule.signature_file, "family file"});
    return c;
}

}  // namespace fettle::family
