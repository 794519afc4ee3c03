// Serves boxes of a virtual set over ISO-TP on a CAN bus of this machine (can://127.0.0.1:PORT/…), in one thread of its
// own, beside the DoIP server that holds the set.
#pragma once

#include <map>
#include <memory>
#include <string>

#include "fettle/base/result.h"
#include "fettle/link/address.h"
#include "fettle/standin/server.h"

namespace fettle::standin {

class CanServer {
public:
    // Which of the set's boxes (by the address of its [[link]] record) is behind which CAN address. `set` outlives
    // this. Errors as link::CanBoxes::start.
    static Result<std::unique_ptr<CanServer>> start(Server& set, std::map<std::uint16_t, link::BoxAddress> boxes);
    ~CanServer();
    CanServer(const CanServer&) = delete;
    CanServer& operator=(const CanServer&) = delete;
    std::uint16_t port() const;

private:
    struct State;
    explicit CanServer(std::unique_ptr<State> state);
    std::unique_ptr<State> state_;
};

}  // namespace fettle::standin
