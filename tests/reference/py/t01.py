import sys; sys.path.insert(0,'.')
from common import *; from props import *
from statsmodels.stats.proportion import proportion_confint
T=Table('01_single_proportion','one proportion CI')
BY='own python code (props.py); cross-checked statsmodels 0.15.0 proportion_confint and R binom 1.1-1.1 / PropCIs'
pub={ # Newcombe 1998a Table I
 (81,263):dict(wilson=('0.2553','0.3662'),wilson_cc=('0.2535','0.3682'),clopper_pearson=('0.2527','0.3676'),mid_p=('0.2544','0.3658'),wald=('0.2522','0.3638'),likelihood_ratio=('0.2542','0.3655')),
 (15,148):dict(wilson=('0.0624','0.1605'),wilson_cc=('0.0598','0.1644'),clopper_pearson=('0.0578','0.1617'),mid_p=('0.0601','0.1581'),wald=('0.0527','0.1500'),likelihood_ratio=('0.0596','0.1567')),
 (0,20):dict(wilson=('0.0000','0.1611'),wilson_cc=('0.0000','0.2005'),clopper_pearson=('0.0000','0.1684'),mid_p=('0.0000','0.1391'),likelihood_ratio=('0.0000','0.0916')),
 (1,29):dict(wilson=('0.0061','0.1718'),wilson_cc=('0.0018','0.1963'),clopper_pearson=('0.0009','0.1776'),mid_p=('0.0017','0.1585'),likelihood_ratio=('0.0020','0.1432')),
}
seen={('wilson',k) for k in pub}|{(m,k) for m in('wilson_cc','clopper_pearson','mid_p') for k in [(15,148),(0,20),(1,29)]}
M=dict(METH); M['wald']=wald
for (x,n),d in pub.items():
    for m,f in M.items():
        lo,hi=f(x,n); p=d.get(m)
        prov='SEEN-2ND' if (m,(x,n)) in seen else 'MEMORY'
        src='Newcombe 1998 Stat Med 17:857-872 Table I'+(' (seen in cran/ratesci tests/testthat/test3.R and in a public stats.test.mjs)' if prov=='SEEN-2ND' else '')
        if m in('jeffreys','agresti_coull'): src='library value (method defined in Brown, Cai & DasGupta 2001)'
        pv=dict(lower=p[0],upper=p[1]) if p else None
        if m=='jeffreys' and (x,n)==(0,20): pv=dict(lower='0.00',upper='0.117'); prov='SEEN-2ND'; src='cran/ratesci test3.R, "Jeffreys, cf Brown et al. 2001"'
        if m=='jeffreys' and (x,n)==(1,29): pv=dict(lower='0.004',upper='0.150'); prov='SEEN-2ND'; src='cran/ratesci test3.R, "Jeffreys, cf Brown et al. 2001"'
        T.add(f'newc1-{x}of{n}-{m}',m,dict(x=x,n=n,conf=.95),dict(lower=lo,upper=hi),pv,prov,src,BY)
# Fagerland Lydersen Laake book example 13/16 (Ligarden 2010)
fl=dict(wilson=('0.5699','0.9341'),wilson_cc=('0.5369','0.9503'),clopper_pearson=('0.5435','0.9595'),mid_p=('0.5699','0.9500'),jeffreys=('0.5792','0.9442'),likelihood_ratio=('0.5828','0.9497'))
for m,p in fl.items():
    lo,hi=METH[m](13,16)
    T.add(f'fll-13of16-{m}',m,dict(x=13,n=16,conf=.95),dict(lower=lo,upper=hi),dict(lower=p[0],upper=p[1]),'SEEN','Fagerland, Lydersen & Laake 2017 ch.2 (Ligarden et al. 2010), seen in ocbe-uio/contingencytables tests/testthat/test-ch2.R',BY)
nt=24;pt=21/24;h=z(.15)*math.sqrt(pt*(1-pt)/nt);lo,hi=pt-h,pt+h; T.add('fll-19of20-plus4-85','agresti_coull +2/+2 variant (adds 2 and 2 whatever alpha; NOT z^2/2)',dict(x=19,n=20,conf=.85),dict(lower=lo,upper=hi),dict(lower='0.7778',upper='0.9722'),'SEEN','contingencytables test-ch2.R',BY)
for (x,n,p) in [(1,100,('0.0005','0.0513')),(0,9,('0.0000','0.3161')),(9,9,('0.6839','1.0000'))]:
    lo,hi=blaker(x,n); T.add(f'fll-{x}of{n}-blaker','blaker_exact',dict(x=x,n=n,conf=.95),dict(lower=lo,upper=hi),dict(lower=p[0],upper=p[1]),'SEEN','contingencytables test-ch2.R','own python (scan step 1e-5 + bisection); PropCIs::blakerci')
for (x,n,p,m) in [(0,1,('0.0000','0.9750'),'clopper_pearson'),(1,1,('0.0250','1.0000'),'clopper_pearson'),(0,9,('0.0000','0.2831'),'mid_p'),(9,9,('0.7169','1.0000'),'mid_p'),(0,10,('0.0000','0.1748'),'likelihood_ratio'),(10,10,('0.8252','1.0000'),'likelihood_ratio')]:
    lo,hi=METH[m](x,n); T.add(f'fll-{x}of{n}-{m}',m,dict(x=x,n=n,conf=.95),dict(lower=lo,upper=hi),dict(lower=p[0],upper=p[1]),'SEEN','contingencytables test-ch2.R',BY)
# Agresti 0/25 vegetarians
for m,p in dict(wilson=('0.000','0.133'),clopper_pearson=('0.000','0.137'),mid_p=('0.000','0.113'),likelihood_ratio=('0.000','0.074')).items():
    lo,hi=METH[m](0,25); T.add(f'agresti-0of25-{m}',m,dict(x=0,n=25,conf=.95),dict(lower=lo,upper=hi),dict(lower=p[0],upper=p[1]),'MEMORY','Agresti, Categorical Data Analysis (vegetarian example 0/25), sec 1.4-1.5/16.6',BY)
# Kauermann & Kuechenhoff poll
for x,pc,pa in [(302,('0.226','0.276'),('0.227','0.276')),(133,('0.0932','0.1293'),('0.0938','0.1292'))]:
    lo,hi=cp(x,1206); T.add(f'kk-{x}of1206-cp','clopper_pearson',dict(x=x,n=1206,conf=.95),dict(lower=lo,upper=hi),dict(lower=pc[0],upper=pc[1]),'SEEN-2ND','Kauermann & Kuechenhoff 2010 p.54, in cran/samplingbook tests_ch2.r',BY)
    lo,hi=wilson(x,1206); T.add(f'kk-{x}of1206-wilson','wilson (samplingbook calls this ci$ac)',dict(x=x,n=1206,conf=.95),dict(lower=lo,upper=hi),dict(lower=pa[0],upper=pa[1]),'SEEN-2ND','Kauermann & Kuechenhoff 2010 p.54, in cran/samplingbook tests_ch2.r',BY)
# grid of library values incl. edge cases; agreement with statsmodels
mx=0
grid=[(x,n) for n in (1,2,5,10,20,30,50,60,100,200,500) for x in sorted({0,1,n//10,n//4,n//2,(3*n)//4,(9*n)//10,n-1,n}) if 0<=x<=n]
for x,n in grid:
    for conf in (.95,.90,.99) if n in (20,50,100) else (.95,):
        for m,f in METH.items():
            lo,hi=f(x,n,1-conf)
            sm={'wilson':'wilson','clopper_pearson':'beta','agresti_coull':'agresti_coull','jeffreys':'jeffreys'}.get(m)
            if sm:
                a,b=proportion_confint(x,n,1-conf,method=sm)
                if m=='jeffreys' and x in(0,n): pass
                else: mx=max(mx,abs(a-lo),abs(b-hi))
            T.add(f'grid-{x}of{n}-{int(conf*100)}-{m}',m,dict(x=x,n=n,conf=conf),dict(lower=lo,upper=hi),None,'LIBRARY','own implementation == statsmodels.stats.proportion.proportion_confint (max abs diff printed in notes.md); wilson_cc == R prop.test EXCEPT x=n/2, where prop.test(x,n) silently drops the correction (Yates term min(0.5,|x-n/2|)=0)',BY,'jeffreys: lower forced to 0 at x=0 and upper to 1 at x=n (BCD 2001); statsmodels does NOT force this' if m=='jeffreys' and x in(0,n) else '')
print('max |own-statsmodels| =',mx)
for m in METH: T.add(f'edge-n0-{m}',m,dict(x=0,n=0,conf=.95),dict(lower='undefined',upper='undefined'),None,'DERIVED','convention','','n=0: print no estimate and no interval (statsmodels/R give NaN or error). Do not print 0..1 as if measured')
T.save()
# 1b FPC
T=Table('01b_finite_population','one proportion CI, finite population')
for x,n,N,pe,pa in [(45,100,300,('110','161'),('111','159')),(2,100,300,('2','19'),None)]:
    dl,du=hyper_exact(x,n,N)
    T.add(f'kk-{x}of{n}inN{N}','hypergeometric exact (invert two one-sided tests, alpha/2 each)',dict(x=x,n=n,N=N,conf=.95),dict(D_lower=dl,D_upper=du,p_lower=dl/N,p_upper=du/N,kk_lower=max(dl-1,x),kk_upper=min(du+1,N-(n-x))),dict(kk_lower=pe[0],kk_upper=pe[1]),'SEEN-2ND','Kauermann & Kuechenhoff 2010 p.53, in cran/samplingbook tests/testthat/tests_ch2.r','own python scipy.stats.hypergeom','K&K print the nearest REJECTED D (one unit wider each side, never past x or N-(n-x)); D_lower/D_upper here are the outermost D NOT rejected, the usual Clopper-Pearson-type definition')
    p=x/n; se=math.sqrt(p*(1-p)/(n-1)*(N-n)/N)
    T.add(f'kk-se-{x}of{n}inN{N}','Wald SE with fpc: sqrt((1-n/N) p q/(n-1))',dict(x=x,n=n,N=N),dict(se=se),dict(se={45:'0.0408',2:'0.0115'}[x]),'SEEN-2ND','same','own python')
for (x,n,N,pub) in [(10,20,20,('10','10')),(50,60,61,('50','51'))]:
    dl,du=hyper_exact(x,n,N); T.add(f'kk-edge-{x}of{n}inN{N}','hypergeometric exact',dict(x=x,n=n,N=N,conf=.95),dict(D_lower=dl,D_upper=du),dict(D_lower=pub[0],D_upper=pub[1]),'SEEN-2ND','cran/samplingbook tests_ch2.r edge cases','own python')
# Cochran 37/100 of 500
p=.37;n=100;N=500; se=math.sqrt((1-n/N)*p*(1-p)/(n-1)); T.add('cochran-37of100in500','normal approx with fpc and 1/(2n) continuity (Cochran 3.19)',dict(x=37,n=n,N=N),dict(se=se,lower=p-1.96*se-.005,upper=p+1.96*se+.005),dict(se='0.0434',lower='0.280',upper='0.460'),'MEMORY','Cochran 1977 Sampling Techniques 3rd ed sec 3.6 example','own python')
dl,du=hyper_exact(37,100,500); T.add('cochran-37of100in500-exact','hypergeometric exact',dict(x=37,n=100,N=500,conf=.95),dict(D_lower=dl,D_upper=du),None,'LIBRARY','','own python; checked by R phyper')
for N in (500,1000,5000,7500,10000):
    for n in (30,50,60,100,200,300):
        for frac in (0,.02,.1,.3,.5,.7,.9,.98,1):
            x=round(n*frac); dl,du=hyper_exact(x,n,N); wl,wu=wilson_fpc(x,n,N)
            T.add(f'grid-{x}of{n}inN{N}','hypergeometric exact',dict(x=x,n=n,N=N,conf=.95),dict(D_lower=dl,D_upper=du,p_lower=dl/N,p_upper=du/N),None,'LIBRARY','scipy.stats.hypergeom.cdf/sf inversion','own python scipy 1.17.1')
            T.add(f'gridw-{x}of{n}inN{N}','wilson with fpc: wilson on n_eff=n(N-1)/(N-n), x_eff=p*n_eff',dict(x=x,n=n,N=N,conf=.95),dict(lower=wl,upper=wu),None,'LIBRARY','definition','own python')
T.save()
# 2 two proportions
T=Table('02_two_proportions','difference of two independent proportions')
ex={'a':(56,70,48,80),'b':(9,10,3,10),'c':(6,7,2,7),'d':(5,56,0,29),'e':(0,10,0,20),'f':(0,10,0,10),'g':(10,10,0,20),'h':(10,10,0,10)}
pub={'newcombe_hybrid_score':{'a':('0.0524','0.3339'),'b':('0.1705','0.8090'),'c':('0.0582','0.8062'),'d':('-0.0381','0.1926'),'e':('-0.1611','0.2775'),'f':('-0.2775','0.2775'),'g':('0.6791','1.0000'),'h':('0.6075','1.0000')},
'newcombe_hybrid_score_cc':{'a':('0.0428','0.3422'),'b':('0.1013','0.8387'),'c':('-0.0290','0.8423'),'d':('-0.0667','0.2037'),'e':('-0.2005','0.3445'),'f':('-0.3445','0.3445'),'g':('0.6014','1.0000'),'h':('0.5128','1.0000')},
'miettinen_nurminen':{'a':('0.0528','0.3382'),'b':('0.1700','0.8406'),'c':('0.0342','0.8534'),'d':('-0.0326','0.1933'),'e':('-0.1658','0.2844'),'f':('-0.2879','0.2879'),'g':('0.7156','1.0000'),},
'mee':{'a':('0.0533','0.3377'),'b':('0.1821','0.8370'),'c':('0.0544','0.8478'),'d':('-0.0313','0.1926'),'e':('-0.1611','0.2775'),'f':('-0.2775','0.2775'),'g':('0.7225','1.0000')}}
seen={('newcombe_hybrid_score',k) for k in 'abd'}|{('miettinen_nurminen','d'),('mee','d')}
for k,(x1,n1,x2,n2) in ex.items():
    for m,f in [('newcombe_hybrid_score',newcombe),('newcombe_hybrid_score_cc',lambda *a:newcombe(*a,cc=True)),('miettinen_nurminen',score_diff_ci),('mee',lambda *a:score_diff_ci(*a,mn=False)),('agresti_caffo',agresti_caffo),('wald',wald_diff)]:
        lo,hi=f(x1,n1,x2,n2); p=pub.get(m,{}).get(k); s=(m,k) in seen
        T.add(f'newc2-{k}-{m}',m,dict(x1=x1,n1=n1,x2=x2,n2=n2,conf=.95),dict(lower=lo,upper=hi),dict(lower=p[0],upper=p[1]) if p else None,'SEEN-2ND' if s else 'MEMORY','Newcombe 1998 Stat Med 17:873-890 Table II example '+k+(' (seen in ratesci test3.R / stats.test.mjs)' if s else '') if p else 'library',BY)
# Fagerland 2015 / Perondi 7/34 vs 1/34
fg={'wald':('0.0292','0.3238'),'agresti_caffo':('0.0116','0.3217'),'newcombe_hybrid_score':('0.0189','0.3404'),'mee':('0.0284','0.3439')}
F=dict(wald=wald_diff,agresti_caffo=agresti_caffo,newcombe_hybrid_score=newcombe,mee=lambda *a:score_diff_ci(*a,mn=False),miettinen_nurminen=score_diff_ci)
for m,f in F.items():
    lo,hi=f(7,34,1,34); p=fg.get(m) or (('0.028','0.34') if m=='miettinen_nurminen' else None)
    T.add(f'perondi-{m}',m,dict(x1=7,n1=34,x2=1,n2=34,conf=.95),dict(lower=lo,upper=hi),dict(lower=p[0],upper=p[1]) if p else None,'SEEN','Fagerland et al. 2015 SMMR 24:224-254 (Perondi 2004), seen in contingencytables test-ch4.R and statsmodels test_proportion.py',BY, 'the paper/statsmodels list 0.028..0.34 for "Miettinen-Nurminen", which is the Mee limit: with the N/(N-1) factor the lower limit is 0.0270 (PropCIs diffscoreci 0.0270416, 0.3452912)' if m=='miettinen_nurminen' else '')
lo,hi=score_diff_ci(0,16,15,72); T.add('ritland-mn','miettinen_nurminen',dict(x1=0,n1=16,x2=15,n2=72,conf=.95),dict(lower=lo,upper=hi),dict(lower='-0.3164',upper='-0.0056'),'SEEN','contingencytables test-ch4.R (Ritland 2007)',BY)
lo,hi=score_diff_ci(7,25,2,25,mn=False); T.add('gartnam-mee','mee',dict(x1=7,n1=25,x2=2,n2=25,conf=.95),dict(lower=lo,upper=hi),dict(lower='-0.014',upper='0.412'),'SEEN-2ND','Gart & Nam 1990, in ratesci test3.R',BY)
# Fisher / midp
for nm,(x1,n1,x2,n2),p in [('ritland',(0,16,15,72),dict(two_sided_minlik='0.06287',mid_p_minlik='0.04466')),('tea',(3,4,1,4),dict(two_sided_minlik='0.4857')),('perondi',(7,34,1,34),{}),('newc_a',(56,70,48,80),{}),('newc_d',(5,56,0,29),{}),('newc_c',(6,7,2,7),{})]:
    r=fisher(x1,n1,x2,n2); T.add(f'fisher-{nm}','fisher exact & mid-p',dict(x1=x1,n1=n1,x2=x2,n2=n2),r,p,'SEEN' if nm=='ritland' else 'MEMORY','contingencytables test-ch4.R' if nm=='ritland' else ('Fisher tea-tasting, R ?fisher.test' if nm=='tea' else 'library'),'own python; scipy.stats.fisher_exact')
    s=stats.fisher_exact([[x1,n1-x1],[x2,n2-x2]]).pvalue; assert abs(s-r['two_sided_minlik'])<1e-9,(nm,s,r)
for nm,(x1,n1,x2,n2),add,p in [('perondi-woolf',(7,34,1,34),0,dict(lower='0.99',upper='74')),('perondi-gart',(7,34,1,34),.5,dict(lower='0.98',upper='38')),('newc_a-woolf',(56,70,48,80),0,{}),('newc_d-gart',(5,56,0,29),.5,{})]:
    o,l,u=or_woolf(x1,n1,x2,n2,add=add); T.add('or-'+nm,'odds ratio, log-Wald'+(' +0.5 (Gart)' if add else ' (Woolf)'),dict(x1=x1,n1=n1,x2=x2,n2=n2,conf=.95),dict(or_=o,lower=l,upper=u),p,'SEEN','Fagerland et al. 2015, in statsmodels test_proportion.py comment','own python')
# grid
for (x1,n1,x2,n2) in [(0,30,0,30),(30,30,0,30),(30,30,30,30),(27,30,24,30),(45,50,40,50),(95,100,88,100),(190,200,176,200),(0,50,5,50),(48,50,50,50),(1,1,0,1)]:
    for m,f in F.items():
        lo,hi=f(x1,n1,x2,n2); T.add(f'grid-{x1}of{n1}-{x2}of{n2}-{m}',m,dict(x1=x1,n1=n1,x2=x2,n2=n2,conf=.95),dict(lower=lo,upper=hi),None,'LIBRARY','own; newcombe/agresti_caffo/wald == statsmodels confint_proportions_2indep; score == R ratesci::scoreci(skew=F)',BY)
T.save()
