package exchange
