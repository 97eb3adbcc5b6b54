package web

import "net/http"

// routes is the site map.
func (k *desk) routes(mux *http.ServeMux) {
	on := func(pattern string, h func(http.ResponseWriter, *http.Request) error) {
		mux.HandleFunc(pattern, k.page(h))
	}
	on("GET /{$}", k.today)
	on("POST /length", k.chooseLength)

	on("GET /requests", k.requests)
	on("GET /requests/new", k.newRequest)
	on("POST /requests", k.openRequest)
	on("GET /requests/{id}", k.folder)
	on("POST /requests/{id}", k.changeRequest)
	on("POST /requests/{id}/files", k.addFiles)
	on("POST /requests/{id}/close", k.closeRequest)
	on("POST /requests/{id}/reopen", k.reopenRequest)
	on("POST /requests/{id}/quotation", k.draft)
	on("GET /requests/{id}/progress", k.progress)
	on("GET /requests/{id}/parts", k.parts)

	on("GET /files/{id}", k.download)
	on("POST /files/{id}/unit", k.answerUnit)
	on("POST /files/{id}/again", k.analyseAgain)
	on("POST /files/{id}/cancel", k.cancelAnalysis)

	on("GET /lines/{id}", k.line)
	on("GET /lines/{id}/model.glb", k.model)
	on("GET /lines/{id}/picture.png", k.picture)
	on("POST /lines/{id}/qty", k.setQty)
	on("POST /lines/{id}/need", k.setNeed)
	on("POST /lines/{id}/aside", k.setAside)
	on("POST /lines/{id}/undo", k.undoLine)
	on("GET /lines/{id}/options", k.options)
	on("POST /lines/{id}/hollow", k.makeHollow)
	on("POST /lines/{id}/choose", k.choose)
	on("GET /lines/{id}/why", k.why)

	on("GET /quotations", k.quotations)
	on("GET /quotations/{id}", k.quotation)
	on("POST /quotations/{id}", k.changeDraft)
	on("POST /quotations/{id}/refresh", k.refreshDraft)
	on("POST /quotations/{id}/issue", k.issue)
	on("POST /quotations/{id}/revise", k.revise)
	on("POST /quotations/{id}/withdraw", k.withdraw)
	on("POST /quotations/{id}/link", k.newLink)
	on("POST /quotations/{id}/answer", k.answerClient)
	on("GET /quotations/{id}/pdf", k.quotationPDF)
	on("GET /quotations/{id}/ubl", k.quotationUBL)

	on("GET /orders", k.orders)
	on("GET /orders/{id}", k.order)
	on("GET /orders/{id}/ubl", k.orderUBL)
	on("GET /orders/{id}/sooner", k.soonerOrder)
	on("GET /lines/{id}/sooner", k.soonerLine)

	on("GET /board", k.board)
	on("GET /board.ics", k.calendarFeed)
	on("POST /plan", k.decide)
	on("POST /plan/back", k.takePlanBack)
	on("GET /board/build", k.composer)
	on("GET /board/build.glb", k.composerModel)
	on("POST /board/build", k.layBuild)
	on("GET /requests.csv", k.requestsTable)
	on("GET /requests.xlsx", k.requestsTable)
	on("GET /quotations.csv", k.quotationsTable)
	on("GET /quotations.xlsx", k.quotationsTable)
	on("GET /orders.csv", k.ordersTable)
	on("GET /orders.xlsx", k.ordersTable)

	if k.Floor != nil {
		on("GET /floor", k.floorBoard)
		on("POST /t/who", k.operatorIs)
		on("GET /t/{id}", k.travellerCard)
		on("POST /t/{id}", k.report)
		on("GET /t/{id}/pdf", k.travellerPDF)
		on("POST /t/{id}/photos", k.photo)
		on("GET /t/{id}/photos/{photo}", k.openPhoto)
		on("POST /b", k.planBuild)
		on("GET /b/{id}", k.buildCard)
		on("POST /b/{id}", k.reportBuild)
		on("GET /lots", k.lots)
		on("POST /lots", k.receiveLot)
		on("POST /lots/{id}", k.reportLot)
		on("GET /trace", k.trace)
		for _, ext := range []string{".csv", ".xlsx"} {
			on("GET /travellers"+ext, k.travellersTable)
			on("GET /builds"+ext, k.buildsTable)
			on("GET /lots"+ext, k.lotsTable)
			on("GET /purchases"+ext, k.purchasesTable)
		}
		on("GET /purchases", k.purchases)
		on("POST /purchases", k.askPartner)
		on("GET /purchases/{id}", k.purchase)
		on("POST /purchases/{id}", k.reportPurchase)
		on("GET /purchases/{id}/pdf", k.purchasePDF)
		on("GET /orders/{id}/cancel", k.cancelAsk)
		on("POST /orders/{id}/cancel", k.cancelOrder)
		on("POST /orders/{id}/write-off", k.writeOff)
		on("POST /orders/{id}/deliver", k.deliver)
		on("POST /orders/{id}/take-back", k.takeBack)
	}

	if k.Proving != nil {
		k.provingRoutes(on)
	}
	if k.Hand != nil {
		on("GET /t/{id}/files/{file}", k.handPart)
		on("GET /b/{id}/build.3mf", k.handBuild)
	}
	if k.Books != nil {
		k.bookRoutes(on)
	}
	if k.Post != nil {
		on("GET /subscribers", k.subscribers)
		on("POST /subscribers", k.subscribe)
		on("POST /subscribers/{id}", k.changeSubscriber)
	}

	on("GET /shop", k.shop)
	on("GET /about", k.about)

	on("GET /q/{token}", k.client)
	on("GET /q/{token}/model/{line}", k.clientModel)
	on("GET /q/{token}/pdf", k.clientPDF)
	on("GET /q/{token}/ubl", k.clientUBL)
	on("POST /q/{token}/ask", k.clientAsk)
	on("POST /q/{token}/accept", k.clientAccept)
	on("POST /q/{token}/decline", k.clientDecline)
}

// chooseLength keeps the unit a person wants to see lengths in.
func (k *desk) chooseLength(w http.ResponseWriter, r *http.Request) error {
	to := "mm"
	if r.FormValue("to") == "in" {
		to = "in"
	}
	http.SetCookie(w, &http.Cookie{Name: "length", Value: to, Path: "/", MaxAge: 365 * 86400, SameSite: http.SameSiteLaxMode, HttpOnly: true})
	back := r.Referer()
	if back == "" {
		back = "/"
	}
	return seeOther(w, r, back)
}
