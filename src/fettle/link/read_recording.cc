// Reading recordings: who asked what and what was answered; and a copy in which nobody can be recognised.
#include <algorithm>
#include <map>
#include <set>

#include "fettle/link/conversation.h"
#include "fettle/link/ethernet.h"
#include "fettle/link/recording.h"
#include "fettle/link/uds.h"

namespace fettle::link {

Result<Recorded> read_recording(ByteView file) {
    auto capture = pcapng::read(file);
    if (!capture) return pass(capture);
    Recorded out;
    out.cut_short = capture->cut_short;
    std::map<std::uint16_t, std::size_t> doip_open;                       // box → its question
    std::map<std::pair<std::uint32_t, bool>, std::size_t> can_questions;  // identifier → number of its last question
    std::map<std::pair<std::uint32_t, bool>, CanId> answers_to;           // identifier → whose questions it answers
    std::optional<std::size_t> can_open;
    for (const Piece& piece : conversation(*capture)) {
        if (piece.doip) {
            const auto& body = piece.doip->message.body;
            if (const auto* a = std::get_if<doip::Announcement>(&body)) out.vin = a->vin;
            if (const auto* r = std::get_if<doip::RoutingResponse>(&body))
                if (r->code == 0x10) out.entity = r->entity;
            if (const auto* d = std::get_if<doip::Diagnostic>(&body)) {
                if (piece.doip->to_entity) {
                    Exchanged e;
                    e.box = d->target;
                    e.question = d->data;
                    doip_open[d->target] = out.exchanges.size();
                    out.exchanges.push_back(std::move(e));
                } else if (const auto open = doip_open.find(d->source); open != doip_open.end()) {
                    out.exchanges[open->second].answers.push_back(d->data);
                }
            }
            if (const auto* n = std::get_if<doip::DiagnosticNack>(&body))
                if (const auto open = doip_open.find(n->source); open != doip_open.end()) {
                    out.exchanges[open->second].nack = n->code;
                    out.exchanges[open->second].not_delivered = doip::diagnostic_nack_words(n->code);
                }
        } else {
            const CanSaid& c = *piece.can;
            // Requests of a tester cannot be taken for answers: those begin at 40h. What an identifier says that has
            // asked nothing is an answer: to the question that it has answered before, else to the latest.
            const auto key = std::pair(c.id.number, c.id.extended);
            if (uds::only_reads(c.message) || uds::only_clears(c.message) || can_questions.contains(key)) {
                Exchanged e;
                e.can = true;
                e.fd = c.fd;
                e.request_id = c.id;
                e.question = c.message;
                can_open = can_questions[key] = out.exchanges.size();
                out.exchanges.push_back(std::move(e));
            } else if (can_open) {
                const auto [to, fresh] = answers_to.emplace(key, out.exchanges[*can_open].request_id);
                Exchanged& e = out.exchanges[can_questions.at({to->second.number, to->second.extended})];
                e.answer_id = c.id;
                e.answers.push_back(c.message);
            }
        }
    }
    return out;
}

Result<Bytes> without_names(ByteView file, const std::vector<std::uint16_t>& more) {
    auto capture = pcapng::read(file);
    if (!capture) return pass(capture);
    const auto pieces = conversation(*capture);
    Bytes out(file.begin(), file.end());
    std::set<std::uint16_t> dids{0xF190, 0xF18C};
    dids.insert(more.begin(), more.end());
    std::set<Bytes> values;  // what must not be found any more
    const auto note = [&](ByteView v) {
        while (!v.empty() && (v.back() == 0 || v.back() == ' ')) v = v.first(v.size() - 1);
        if (v.size() >= 4) values.emplace(v.begin(), v.end());
    };
    const auto blank = [&](const std::vector<std::size_t>& places, std::size_t from, std::size_t n, Byte with) {
        for (std::size_t i = from; i < from + n && i < places.size(); ++i) out[places[i]] = with;
    };
    // The records of one answer to one identifier; of several in one answer the lengths are not known, so from the
    // first of these on all of it goes.
    const auto answer = [&](ByteView message, const std::vector<std::size_t>& places, std::size_t at) {
        if (message.size() < 3 || message[0] != 0x62) return;
        for (std::size_t i = 1; i + 1 < message.size(); ++i) {
            if (!dids.contains(load_be16(message, i))) continue;
            note(message.subspan(i + 2));
            blank(places, at + i + 2, message.size() - i - 2, 'X');
            return;
        }
    };
    for (const Piece& p : pieces) {
        if (p.can) answer(p.can->message, p.can->places, 0);
        if (!p.doip) continue;
        if (const auto* a = std::get_if<doip::Announcement>(&p.doip->message.body)) {
            note(as_bytes(a->vin));
            blank(p.doip->places, doip::header_size, 17, 'X');
            blank(p.doip->places, doip::header_size + 19, 12, 0);
        }
        if (const auto* d = std::get_if<doip::Diagnostic>(&p.doip->message.body))
            answer(d->data, p.doip->places, doip::header_size + 4);
    }
    // The same values in other messages: in lists of pieces, in identification requests by VIN.
    const auto search = [&](const std::vector<std::size_t>& places) {
        Bytes text;
        for (const auto i : places) text.push_back(out[i]);
        for (const Bytes& v : values)
            for (auto it = text.begin(); (it = std::search(it, text.end(), v.begin(), v.end())) != text.end(); ++it)
                blank(places, static_cast<std::size_t>(it - text.begin()), v.size(), 'X');
    };
    for (const Piece& p : pieces) search(p.doip ? p.doip->places : p.can->places);
    for (const auto& p : capture->packets)
        if (p.link_type == pcapng::ethernet) renew_sums(ByteSpan(out).subspan(p.at, p.data.size()));
    return out;
}

}  // namespace fettle::link
