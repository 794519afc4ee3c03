// Inside the link room: the messages in a capture, put together from its packets, each with the places of its bytes in
// the file.
#pragma once

#include <vector>

#include "fettle/base/result.h"
#include "fettle/link/can_frame.h"
#include "fettle/link/doip.h"
#include "fettle/link/pcapng.h"

namespace fettle::link {

struct DoipSaid {
    doip::Message message;
    bool to_entity = false;
    std::vector<std::size_t> places;  // in the file, of the message's bytes, header included
};
struct CanSaid {
    CanId id;
    bool fd = false;
    Bytes message;
    std::vector<std::size_t> places;
};
struct Piece {  // one of the two
    std::optional<DoipSaid> doip;
    std::optional<CanSaid> can;
};
// In the order in which they were whole. TCP streams are put together in the order of the file; a stream that does not
// begin with its start, or in which bytes are missing, gives what can be read of it.
std::vector<Piece> conversation(const pcapng::Capture& capture);

}  // namespace fettle::link
